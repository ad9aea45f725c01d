"""A phone's rendering, step by step: each step is a function whose strength is one frozen value.

Written from general knowledge of imaging pipelines; no product is imitated. :mod:`.light` works on the sensor's light,
:mod:`.tone` on brightness, :mod:`.colour` on hue and chroma, :mod:`.detail` on edges and files; :mod:`.chain` puts them
in order and names the strengths.
"""
