"""Where samples come from: recordings and receivers, all of them the same thing to whoever reads them.

Here live the readers and writers of sample files, the network and USB receivers, and the replay of a recording as a
receiver. A source yields blocks of samples with exact times and says where samples are missing. No filtering, no
detection: what a sample means is the business of the rooms to the right.
"""
