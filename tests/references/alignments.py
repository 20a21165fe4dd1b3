"""Asks numpy how many attacks two voices make at every offset (by the cyclic autocorrelation of
the onsets), and music21 (10.5.1) what triads and sevenths are called and which note is the root.
"""

import sys

import numpy
from _facts import facts
from music21 import chord

# What music21 calls them, and what we do.
CHORDS = {
    "major triad": "major",
    "minor triad": "minor",
    "diminished triad": "diminished",
    "augmented triad": "augmented",
    "dominant seventh chord": "dominant seventh",
    "major seventh chord": "major seventh",
    "minor seventh chord": "minor seventh",
    "half-diminished seventh chord": "half-diminished seventh",
    "diminished seventh chord": "diminished seventh",
}

# music21 spells pitch classes its own way, and says so where that hides the chord.
RESPELT = ("enharmonic equivalent to ", "enharmonic to ")

# Every note of these is a root as good as any other.
SYMMETRIC = {"augmented", "diminished seventh"}


def attacks(steps, struck):
    """2m - c(k) for k = 0 ... steps - 1, c by the discrete Fourier transform."""
    onsets = numpy.zeros(steps)
    onsets[struck] = 1
    spectrum = numpy.fft.fft(onsets)
    shared = numpy.rint(numpy.fft.ifft(spectrum * spectrum.conj()).real).astype(int)
    return [2 * len(struck) - int(c) for c in shared]


def smallest_rotation(steps, struck):
    """The smallest rotation that leaves the onsets as they are, by trying them all."""
    onsets = numpy.zeros(steps)
    onsets[struck] = 1
    return next(k for k in range(1, steps + 1) if (numpy.roll(onsets, k) == onsets).all())


def main():
    said = facts("alignment_facts")
    for rhythm in said["rhythms"]:
        steps, struck = rhythm["steps"], rhythm["struck"]
        every = attacks(steps, struck)
        distinct = smallest_rotation(steps, struck)
        assert rhythm["attacks"] == every[:distinct], (rhythm, every, distinct)

    named = rooted = 0
    for ours in said["chords"]:
        theirs = chord.Chord([60 + pitch_class for pitch_class in ours["pitch_classes"]])
        known_as = theirs.commonName
        plain = known_as
        for prefix in RESPELT:
            plain = plain.removeprefix(prefix)
        kind = CHORDS.get(plain)
        name = ours["name"].split(" ", 1)[-1]
        if kind is None:
            assert name not in CHORDS.values(), (ours, known_as)
            continue
        assert name == kind, (ours, kind)
        if kind not in SYMMETRIC and not known_as.startswith(RESPELT):
            assert ours["root"] == theirs.root().pitchClass, (ours, theirs.root())
            rooted += 1
        named += 1
    print(f"{len(said['rhythms'])} rhythms: numpy agrees; {named} chords, {rooted} with their root: music21 agrees")


if __name__ == "__main__":
    sys.exit(main())
