"""The Earth-curvature experiment: levels of near and far transmitters, measured against a round and a plane Earth.

Here live both models of the direct signal, the reader of measured levels, the likelihood that weighs the models and
finds the effective radius, and three companions: why the targets are silent, how high the echoes were, and what the
day's course of the counts says. Nothing here measures a level from samples (that is the station's survey) or draws.

Conventions: heights are above the smooth surface that stands for the ground; levels are powers at the receiver's
input, the antenna's gain included; the *effective* radius is the Earth's radius times the refraction factor k.
"""
