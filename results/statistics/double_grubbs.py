"""Critical values of Grubbs' test for two outlying values on one side.

There is no closed form.  These are the 2.5 and 0.5 percent points of 20 million simulated ends of
normal samples of each size (8 million from 35 values on), good to 0.0005.  ISO 5725-2:1994, table
5, calls them 5 and 1 percent because a test looks at either end.
"""

from collections.abc import Mapping
from types import MappingProxyType

DOUBLE_GRUBBS_CRITICAL: Mapping[int, tuple[float, float]] = MappingProxyType(
    {
        4: (0.0002, 0.0000),
        5: (0.0090, 0.0018),
        6: (0.0349, 0.0116),
        7: (0.0709, 0.0308),
        8: (0.1102, 0.0564),
        9: (0.1493, 0.0851),
        10: (0.1865, 0.1151),
        11: (0.2213, 0.1451),
        12: (0.2535, 0.1738),
        13: (0.2836, 0.2017),
        14: (0.3109, 0.2281),
        15: (0.3367, 0.2529),
        16: (0.3602, 0.2765),
        17: (0.3821, 0.2990),
        18: (0.4026, 0.3200),
        19: (0.4215, 0.3397),
        20: (0.4392, 0.3585),
        21: (0.4558, 0.3763),
        22: (0.4711, 0.3929),
        23: (0.4857, 0.4083),
        24: (0.4994, 0.4233),
        25: (0.5123, 0.4378),
        26: (0.5244, 0.4508),
        27: (0.5360, 0.4637),
        28: (0.5470, 0.4759),
        29: (0.5574, 0.4876),
        30: (0.5671, 0.4985),
        31: (0.5766, 0.5091),
        32: (0.5857, 0.5191),
        33: (0.5941, 0.5288),
        34: (0.6023, 0.5380),
        35: (0.6100, 0.5465),
        36: (0.6176, 0.5557),
        37: (0.6248, 0.5636),
        38: (0.6313, 0.5714),
        39: (0.6382, 0.5789),
        40: (0.6445, 0.5861),
    }
)
