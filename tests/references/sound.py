"""Has a written sound file read by libsndfile (soundfile 0.14.0): header, length and every sample
must be what was meant.
"""

import pathlib
import sys
import tempfile

import numpy
import soundfile
from _facts import facts

CEILING = 10 ** (-3 / 20)


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = str(pathlib.Path(folder) / "crossing.wav")
        meant = facts("sound_facts", path)
        header = soundfile.info(path)
        # libsndfile puts 24 bits on top of 32.
        frames = soundfile.read(path, dtype="int32", always_2d=True)[0].astype(numpy.int64)

    assert header.subtype == "PCM_24" and header.channels == 2, header
    assert (header.samplerate, header.frames) == (meant["rate"], meant["frames"]), header
    assert not (frames % 256).any()
    frames //= 256
    assert numpy.abs(frames).sum(axis=0).tolist() == meant["sums"]
    peaks = numpy.abs(frames).max(axis=0)
    assert peaks.tolist() == meant["peaks"]
    assert peaks.max() < CEILING * 2**23, peaks
    tail = meant["frames"] / meant["rate"] - meant["ends"]
    assert 0.3 < tail < 1.0, tail
    level = 20 * numpy.log10(peaks.max() / 2**23)
    print(f"{header.frames} frames, peak {level:.1f} dBFS, {tail:.2f} s of tail: libsndfile agrees")


if __name__ == "__main__":
    sys.exit(main())
