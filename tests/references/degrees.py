"""Asks music21 (10.5.1) where a transposition by degree and a tonal inversion lead: so many rungs
up or down its own ladder of the mode in force, and as many rungs below the first note as another
lies above it.
"""

import sys

from _facts import facts
from music21 import pitch, scale


def ladder(steps, tonic):
    """The keys of a mode from below MIDI's lowest to above its highest, as music21 has them."""
    low = tonic - 24
    once = [pitch.Pitch(ps=60 + tonic + step) for step in steps] + [pitch.Pitch(ps=72 + tonic)]
    concrete = scale.ConcreteScale(tonic=once[0], pitches=once)
    octave = [int(p.ps) - 60 for p in concrete.getPitches(once[0], once[-1])][:-1]
    return [low + 12 * turn + key - tonic for turn in range(14) for key in octave]


def main():
    wrong, compared = [], 0
    for line in facts("degree_facts"):
        rungs = ladder(line["semitones"], line["tonic"])
        places = [rungs.index(key) for key in line["steady"]]
        moved = [rungs[place + line["degrees"]] for place in places]
        turned = [rungs[2 * places[0] - place] for place in places]
        for what, theirs in (("moved", moved), ("turned_over", turned)):
            compared += len(theirs)
            if theirs != line[what]:
                name = f"{line['mode']} on {line['tonic']} by {line['degrees']}"
                wrong.append(f"{name}, {what}: {line[what]}, music21 {theirs}")
    print("\n".join(wrong))
    print(f"{compared} keys by degree compared with music21: {len(wrong)} lines differ")
    return 1 if wrong or not compared else 0


if __name__ == "__main__":
    sys.exit(main())
