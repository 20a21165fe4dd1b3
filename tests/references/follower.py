"""Asks Biopython (1.88), whose sequence alignment knows keys but no time, which struck note is which
note of the part: the follower must agree.
"""

import sys

import numpy
from _facts import facts
from Bio import Align

# Nearly all: keys alone cannot tell which of two neighbours was left out.
AGREEMENT = 0.97


def aligned(plan, struck):
    """Pairs (struck, plan) of equal keys. The plan is longer at both ends than what was played."""
    aligner = Align.PairwiseAligner(
        mode="global", match_score=2, mismatch_score=-1, open_gap_score=-1.0, extend_gap_score=-1.0
    )
    aligner.end_deletion_score = 0.0
    best = aligner.align(numpy.array(plan, dtype="i4"), numpy.array(struck, dtype="i4"))[0]
    pairs = set()
    for (first, last), (begin, _) in zip(*best.aligned):
        for place in range(first, last):
            played = begin + place - first
            if plan[place] == struck[played]:
                pairs.add((int(played), int(place)))
    return pairs


def main():
    agreed = ours = theirs = 0
    for performance in facts("follower_facts"):
        found = {tuple(pair) for pair in performance["matches"]}
        outside = aligned(performance["plan"], performance["struck"])
        # Keys come round with the phrase: to the outside, a cycle earlier or later is as good.
        cycle = 9
        shifts = [
            {(played, place + cycle * turns) for played, place in outside} for turns in range(-3, 4)
        ]
        outside = max(shifts, key=lambda pairs: len(pairs & found))
        agreed += len(found & outside)
        ours += len(found)
        theirs += len(outside)
    assert ours > 2000 and agreed >= AGREEMENT * max(ours, theirs), (agreed, ours, theirs)
    print(f"{ours} matches of the follower, {theirs} of Biopython, {agreed} the same")


if __name__ == "__main__":
    sys.exit(main())
