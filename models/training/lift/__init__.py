"""Training of the learned lift (`workers.engine.lift`). Dev only: needs torch, see the training extra.

``python -m models.training lift --draw train --films TRAIN --out LIFT``: movements of generators
that share no key postures (`models.training.rendered.movements`) are drawn and seen by random
cameras through the errors of pose networks; films of the same generators as the networks really
saw them (``python -m models.training bulk``) make up a part of every batch. The report's generator
is used nowhere here.

``bank``, ``generate``, ``movement_source``   movements as tensors
``cameras``, ``errors``, ``sight``            how films show them
``films``                                     films as the networks saw them
``targets``, ``loss``                         what is asked for
``network``, ``shape``, ``network_file``      the network and its file
``judge``                                     how much of what is true is told
"""
