"""Asks scipy (1.17.1) for the slope of the spectrum with which timing and velocity breathe, and
music21 (10.5.1) for the accents of metres, grouped ones among them, and for how five and seven are
grouped.

A spectrum of 1/f has a slope of -1. Hennig et al., PLoS ONE 6 (2011) e26457, find exponents between
0.2 and 1.3 in what people play (the figures from memory); white noise has 0.
"""

import sys

import numpy
from _facts import facts
from music21 import meter
from scipy.signal import welch

PLAYED = (-1.3, -0.2)


def slope(series):
    """Of the power spectrum on two logarithmic axes, by least squares, its ends left out."""
    frequencies, power = welch(numpy.array(series) - numpy.mean(series), nperseg=1024)
    inner = (frequencies > 2 / 1024) & (frequencies < 0.4)
    return numpy.polyfit(numpy.log(frequencies[inner]), numpy.log(power[inner]), 1)[0]


def main():
    told = facts("touch_facts")
    # 8 % of a sixteenth, and a tenth of the velocity.
    for what, deviation in (("timing", 0.08 * 0.25), ("velocity", 0.1)):
        slopes = [slope(series) for series in told[what]]
        assert all(PLAYED[0] < found < PLAYED[1] for found in slopes), (what, slopes)
        assert abs(numpy.mean(slopes) + 1) < 0.15, (what, numpy.mean(slopes))
        spread = numpy.mean([numpy.std(series) for series in told[what]])
        assert 0.75 < spread / deviation < 1.25, (what, spread)
        print(f"{what}: slope {numpy.mean(slopes):.2f}, deviation {spread / deviation:.2f} of what is said")
    for line in told["accents"]:
        signature = meter.TimeSignature(line["metre"])
        theirs = [signature.getAccentWeight(eighth / 2) for eighth in range(len(line["weights"]))]
        assert line["weights"] == theirs, (line, theirs)
    for line in told["grouped"]:
        signature = meter.TimeSignature(line["metre"])
        pulse = 4 / int(line["metre"].split("/")[1])
        theirs = [signature.getAccentWeight(at * pulse) for at in range(len(line["weights"]))]
        assert theirs and line["weights"] == theirs, (line, theirs)
    for line in told["usual"]:
        beams = meter.TimeSignature(line["metre"]).beamSequence
        unit = int(line["metre"].split("/")[1])
        theirs = [round(group.duration.quarterLength * unit / 4) for group in beams]
        assert line["groups"] == theirs, (line, theirs)
    told["accents"] += told["grouped"]
    print(f"accents of {len(told['accents'])} metres are music21's")


if __name__ == "__main__":
    sys.exit(main())
