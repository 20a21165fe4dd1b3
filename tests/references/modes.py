"""Asks music21 (10.5.1) whether the modes are what they are called, and whether folding by degree
sends every degree where music21's own ladders of pitches do.

    python3 tests/references/modes.py              asks about the workspace it stands in
    python3 tests/references/modes.py FACTS.json   asks about what the example mode_facts printed

Not asked here: a pitch outside the source (where it goes is our own rule) and folding to the
nearest pitch (no library settles its ties).
"""

import json
import pathlib
import subprocess
import sys

from music21 import chord, pitch, scale

# Modes that music21 has a class for: the class and how many degrees up the mode starts.
BY_CLASS = {
    "ionian": (scale.MajorScale, 0),
    "dorian": (scale.DorianScale, 0),
    "phrygian": (scale.PhrygianScale, 0),
    "lydian": (scale.LydianScale, 0),
    "mixolydian": (scale.MixolydianScale, 0),
    "aeolian": (scale.MinorScale, 0),
    "locrian": (scale.LocrianScale, 0),
    "melodic_minor": (scale.MelodicMinorScale, 0),
    "dorian_flat_2": (scale.MelodicMinorScale, 1),
    "lydian_augmented": (scale.MelodicMinorScale, 2),
    "lydian_dominant": (scale.MelodicMinorScale, 3),
    "mixolydian_flat_6": (scale.MelodicMinorScale, 4),
    "locrian_natural_2": (scale.MelodicMinorScale, 5),
    "altered": (scale.MelodicMinorScale, 6),
    "harmonic_minor": (scale.HarmonicMinorScale, 0),
    "whole_tone": (scale.WholeToneScale, 0),
    "octatonic_half_whole": (lambda tonic: scale.OctatonicScale(tonic, 1), 0),
    "octatonic_whole_half": (lambda tonic: scale.OctatonicScale(tonic, 2), 0),
    "chromatic": (scale.ChromaticScale, 0),
}

# The others, which music21 knows as a set: its Forte class and its common name. That tells the
# set but not on which of its notes the mode starts.
BY_SET = {
    "harmonic_major": ("7-32B", "harmonic major scale (inverted)"),
    "major_pentatonic": ("5-35", "major pentatonic"),
    "minor_pentatonic": ("5-35", "major pentatonic"),
    "limited_transposition_3": ("9-12", "Messiaen's mode 3"),
    "limited_transposition_4": ("8-9", "Messiaen's mode 4"),
    "limited_transposition_5": ("6-7", None),
    "limited_transposition_6": ("8-25", "Messiaen's mode 6"),
    "limited_transposition_7": ("10-6", "Messiaen's mode 7"),
}


def ascending(make, tonic, low, high):
    """The keys of a scale from low to high; upwards, as melodic minor differs downwards."""
    pitches = make(tonic).getPitches(
        pitch.Pitch(midi=low), pitch.Pitch(midi=high), direction=scale.Direction.ASCENDING
    )
    return [int(p.ps) for p in pitches]


def semitones(mode):
    """What music21 says the mode's steps are; None where it has no class for it."""
    if mode not in BY_CLASS:
        return None
    make, degree = BY_CLASS[mode]
    keys = ascending(make, pitch.Pitch("C4"), 60, 84)
    start = keys[degree]
    return [key - start for key in keys if start <= key < start + 12]


def ladder(steps, tonic_key):
    """The keys of a mode upwards from a tonic, as music21 lays them out."""
    tonic = pitch.Pitch(midi=tonic_key)
    once = [pitch.Pitch(midi=tonic_key + step) for step in steps] + [pitch.Pitch(midi=tonic_key + 12)]
    concrete = scale.ConcreteScale(tonic=tonic, pitches=once)
    top = pitch.Pitch(midi=min(tonic_key + 84, 135))
    return [int(p.ps) for p in concrete.getPitches(tonic, top)]


def facts_to_check():
    if len(sys.argv) > 1:
        return json.loads(pathlib.Path(sys.argv[1]).read_text(encoding="utf-8"))
    example = "cargo run --quiet --package procession-core --example mode_facts"
    printed = subprocess.run(
        example.split(),
        cwd=pathlib.Path(__file__).parent,
        stdout=subprocess.PIPE,
        check=True,
    )
    return json.loads(printed.stdout)


def main():
    facts = facts_to_check()
    wrong = []
    steps_of = {}
    for mode in facts["modes"]:
        ours, theirs = mode["semitones"], semitones(mode["id"])
        steps_of[mode["id"]] = theirs or ours
        if theirs is not None:
            if ours != theirs:
                wrong.append(f"{mode['id']}: {ours}, music21 {theirs}")
            continue
        asked = chord.Chord([60 + step for step in ours])
        forte, name = BY_SET[mode["id"]]
        if asked.forteClass != forte or name not in (None, asked.commonName):
            wrong.append(f"{mode['id']}: music21 {asked.forteClass} {asked.commonName}")
    compared = 0
    for pair in facts["by_degree"]:
        source = ladder(steps_of[pair["source"]], pair["source_tonic"])
        target = ladder(steps_of[pair["target"]], pair["target_tonic"])
        name = f"{pair['source']} from {pair['source_tonic']} to {pair['target']} from {pair['target_tonic']}"
        for key, outside, folded in zip(pair["keys"], pair["outside"], pair["folded"]):
            if outside == (key in source):
                wrong.append(f"{name}: key {key} outside: {outside}, music21 {not outside}")
            elif not outside:
                compared += 1
                theirs = target[source.index(key)]
                if theirs != folded:
                    wrong.append(f"{name}: key {key} to {folded}, music21 {theirs}")
    print("\n".join(wrong))
    print(f"{len(facts['modes'])} modes ({len(BY_CLASS)} by class, {len(BY_SET)} by set), "
          f"{compared} keys by degree compared with music21: {len(wrong)} differences")
    return 1 if wrong or not compared else 0


if __name__ == "__main__":
    sys.exit(main())
