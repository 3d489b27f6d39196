"""Reading lists of transmitters that the observer brings into one record, and the rules of the broadcast band.

Here live the readers of the public lists (each for one documented layout), of our own CSV, the rules by which
duplicates merge, the channel raster and the published protection ratios. A bad row is reported with its line and left
out; what is not a transmitter (an allotment, a deleted station) is counted. Nothing here ranks, computes a path or
fetches from a network: the observer brings the file.
"""
