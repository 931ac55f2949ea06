"""Critical values of Grubbs' test for two outlying values on one side.

There is no closed form.  These are the 2.5 and 0.5 percent points of 8 million simulated normal
samples a size (4 million, both ends each), good to 0.0005; ISO 5725-2:1994, table 5, calls them 5
and 1 percent because a test looks at either end.
"""

from collections.abc import Mapping
from types import MappingProxyType

DOUBLE_GRUBBS_CRITICAL: Mapping[int, tuple[float, float]] = MappingProxyType(
    {
        4: (0.0002, 0.0000),
        5: (0.0090, 0.0018),
        6: (0.0349, 0.0116),
        7: (0.0709, 0.0308),
        8: (0.1101, 0.0563),
        9: (0.1493, 0.0851),
        10: (0.1864, 0.1150),
        11: (0.2213, 0.1452),
        12: (0.2535, 0.1737),
        13: (0.2837, 0.2017),
        14: (0.3110, 0.2281),
        15: (0.3366, 0.2530),
        16: (0.3603, 0.2768),
        17: (0.3822, 0.2989),
        18: (0.4026, 0.3199),
        19: (0.4215, 0.3393),
        20: (0.4391, 0.3585),
        21: (0.4558, 0.3763),
        22: (0.4710, 0.3927),
        23: (0.4858, 0.4084),
        24: (0.4995, 0.4234),
        25: (0.5124, 0.4379),
        26: (0.5244, 0.4507),
        27: (0.5360, 0.4636),
        28: (0.5470, 0.4758),
        29: (0.5575, 0.4876),
        30: (0.5671, 0.4984),
        31: (0.5766, 0.5091),
        32: (0.5857, 0.5192),
        33: (0.5941, 0.5288),
        34: (0.6023, 0.5377),
        35: (0.6100, 0.5465),
        36: (0.6176, 0.5557),
        37: (0.6248, 0.5636),
        38: (0.6313, 0.5714),
        39: (0.6382, 0.5789),
        40: (0.6445, 0.5861),
    }
)
