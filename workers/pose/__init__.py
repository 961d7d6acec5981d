"""Film frames in, one server's joints out.

The way of a frame, one module each:

``session``   builds an ONNX Runtime session and proves on which device it runs
``crop``      the square, turned with the body, that a network looks at (pure)
``networks``  BlazePose and MoveNet: picture of the crop in, landmarks out
``heatmap``   places a landmark more exactly by its heat map (pure)
``finder``    all people in a whole frame
``track``     joins the finds to people over time and chooses the server (pure)
``survey``    the first reading: finds people, keeps small pictures
``scout``     follows the server coarsely on small pictures
``rows``      what the networks see in one frame; all frames to one track
``beside``    the second network in a thread of its own
``estimate``  follows the server from frame to frame; re-detects on loss
``fuse``      two networks' joints to one, and their disagreement (pure)
``smooth``    zero-lag low-pass on irregular time, cut-off by residual analysis (pure)
``bench``     what the pipeline costs beside the bare networks

Pixel convention throughout: origin at the top-left corner of the top-left pixel, so
pixel centres lie at .5; u to the right, v down.
"""

from __future__ import annotations
