"""Measures how loud audition and sound files are, with pyloudnorm 0.2.0 (ITU-R BS.1770) and, for the
true peak, four times as many samples by scipy 1.17.1 (BS.1770, annex 2).

By how much the limiter turns nine voices of chords down is told from the same played so softly that
there is nothing to limit.
"""

import pathlib
import sys
import tempfile

import numpy
import pyloudnorm
import soundfile
from _facts import facts
from scipy.signal import resample_poly

AUDITION = {"one": -20, "one-metal": -20, "one-soft": -20, "start": -30}
NEAR = 1.0
FILES = ["file-one", "file-two", "file-nine"]
FILE_LUFS = -18
CEILING = -3.0
MOST_LIMITED = 6.0


def db(amplitude):
    return 20 * numpy.log10(amplitude)


def measured(sound, rate):
    """LUFS and dBTP."""
    lufs = pyloudnorm.Meter(rate).integrated_loudness(sound)
    return lufs, db(numpy.abs(resample_poly(sound, 4, 1, axis=0)).max())


def limited(loud, soft, soft_db):
    """dB by which the limiter turns down where it does so most."""
    heard = numpy.abs(loud) > 0.05
    return db(numpy.abs(soft[heard] * 10 ** (-soft_db / 20) / loud[heard])).max(initial=0.0)


def main():
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        ours = facts("loudness_facts", folder)

        def read(name):
            return soundfile.read(pathlib.Path(folder) / f"{name}.wav", always_2d=True)

        soft_db = ours.pop("soft_db")
        for name, meter in ours.items():
            sound, rate = read(name)
            lufs, peak = measured(sound, rate)
            down = limited(sound, read(f"{name}-quiet")[0], soft_db) if name != "start" else 0.0
            print(f"{name:20} {lufs:6.1f} LUFS {peak:6.1f} dBTP, limited by {down:.1f} dB")
            if abs(lufs - meter["lufs"]) > 0.1 or abs(peak - meter["true_peak"]) > 0.3:
                wrong.append(f"{name}: our meter finds {meter}")
            if abs(lufs - AUDITION.get(name, lufs)) > NEAR:
                wrong.append(f"{name}: {lufs} LUFS, not near {AUDITION[name]}")
            if peak >= CEILING or down > MOST_LIMITED:
                wrong.append(f"{name}: {peak} dBTP, limited by {down} dB")
        for name in FILES:
            lufs, peak = measured(*read(name))
            print(f"{name:20} {lufs:6.1f} LUFS {peak:6.1f} dBTP")
            if abs(lufs - FILE_LUFS) > NEAR or peak >= CEILING:
                wrong.append(f"{name}: {lufs} LUFS, {peak} dBTP")
    print("\n".join(wrong) or "pyloudnorm and scipy agree")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
