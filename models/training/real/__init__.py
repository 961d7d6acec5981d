"""The gate of real people: laboratory films with known joint centres, and force plates.

``lab``        the four calibrated films: cameras, markers, joint centres of two frames
``landmarks``  where the networks put landmarks, before and after the engine's correction
``correction`` the correction and the uncertainty that a real person allows
``angles``     the engine's body on those films against the markers
``plates``     two adults walking over force plates, their joints by markers
``shares``     the engine's load shares against the plates
``page``       the figures as a page
"""
