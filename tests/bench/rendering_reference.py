"""What two packages take for XYZ, CCT, Duv, Ra and Rf of the spectra on standard input, beside `rendering.rs`, which starts this.

    pip install colour-science==0.4.7 luxpy==1.12.5 numpy==2.2.6 scipy==1.15.3

In: one spectrum a line, 401 numbers, 380 to 780 nm. Out: a line `time PACKAGE seconds-a-spectrum` for each (the least of some rounds, by
the clock or by the processor, whichever is less; warm, in this one process), then a line `PACKAGE X Y Z cct duv ra rf` for each spectrum. colour-science takes them one by one, as its functions do;
luxpy takes a batch of several hundred.
"""

import sys
import time
import warnings

warnings.simplefilter("ignore")
import numpy as np
import colour
import luxpy
from colour.quality import colour_fidelity_index_CIE2017, colour_rendering_index
from colour.temperature import uv_to_CCT_Ohno2013

assert colour.__version__ == "0.4.7" and luxpy.__version__.endswith("1.12.5"), (colour.__version__, luxpy.__version__)
NM = np.arange(380.0, 781.0)
SPECTRA = np.array([[float(v) for v in line.split()] for line in sys.stdin])


def by_colour(values):
    sd = colour.SpectralDistribution(values, NM)
    xyz = colour.sd_to_XYZ(sd, method="Integration")
    cct, duv = uv_to_CCT_Ohno2013(colour.UCS_to_uv(colour.XYZ_to_UCS(xyz)))
    return [*xyz, cct, duv, colour_rendering_index(sd), colour_fidelity_index_CIE2017(sd)]


def by_luxpy(spectra):
    batch = np.vstack([NM, spectra])
    xyz = luxpy.spd_to_xyz(batch, relative=False)
    cct, duv = luxpy.xyz_to_cct(xyz, out="cct,duv", mode="ohno2014")
    ra, rf = luxpy.cri.spd_to_ciera(batch), luxpy.cri.spd_to_cierf(batch)
    return np.column_stack([xyz, np.ravel(cct), np.ravel(duv), np.ravel(ra), np.ravel(rf)])


def least(rounds, work):
    best, out = np.inf, None
    for _ in range(rounds):
        clock, processor = time.perf_counter(), time.process_time()
        out = work()
        best = min(best, time.perf_counter() - clock, time.process_time() - processor)
    return best, out


by_colour(SPECTRA[0])
taken, one_by_one = least(3, lambda: [by_colour(values) for values in SPECTRA])
print("time colour-science", taken / len(SPECTRA))
many = np.vstack([SPECTRA] * 5)
by_luxpy(many)
taken, batch = least(5, lambda: by_luxpy(many))
print("time luxpy", taken / len(many))
for package, rows in (("colour-science", one_by_one), ("luxpy", batch[: len(SPECTRA)])):
    for row in rows:
        print(package, *(repr(float(v)) for v in row))
