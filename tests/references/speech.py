"""The pitch of a voice against general-purpose trackers, side by side on the same signals.

Signals of exactly known pitch: a glide from 80 to 400 Hz and back, then a vibrato, then noise alone,
all in white noise of several levels. Then speech, where nobody knows: there the trackers vote. Where
at least four of the others are voiced and within 50 cents of their median, a tracker should be, too.
The recording is the one that comes with pysptk (CMU ARCTIC); more are taken from the folders
named on the command line.

Measures as mir_eval defines them: raw pitch accuracy within 50 cents (an unvoiced frame counts as
wrong), voicing recall, voicing false alarm; gross errors are frames more than 20 % off where both
are voiced (L. Rabiner et al., IEEE Trans. ASSP 24, 1976).
"""

import os

# One thread each, so that what they work can be compared.
os.environ.setdefault("OMP_NUM_THREADS", "1")

import pathlib
import sys
import tempfile
import time

import mir_eval
import numpy
import parselmouth
import pysptk
import pyworld
import soundfile
from _facts import facts

RATE = 16000
HOP = 0.01
LOW, HIGH = 60, 500
# What is added to the times of their frames, in seconds: fitted on the clean glide.
LATE = {"praat_cc": -0.006, "rapt": 0.006}
OURS = "procession"


def praat(sound, rate, method):
    sound = parselmouth.Sound(sound, rate)
    track = getattr(sound, method)(time_step=HOP, pitch_floor=LOW, pitch_ceiling=HIGH)
    return track.xs(), track.selected_array["frequency"]


def world(sound, rate, refined):
    if refined:
        rough, times = pyworld.dio(sound, rate, f0_floor=LOW, f0_ceil=HIGH, frame_period=1000 * HOP)
        return times, pyworld.stonemask(sound, rough, times, rate)
    hertz, times = pyworld.harvest(sound, rate, f0_floor=LOW, f0_ceil=HIGH, frame_period=1000 * HOP)
    return times, hertz


def toolkit(sound, rate, method, **more):
    scaled = (sound * 32768).astype(numpy.float32 if method == "rapt" else numpy.float64)
    track = getattr(pysptk, method)
    hertz = track(scaled, rate, int(rate * HOP), min=LOW, max=HIGH, otype="f0", **more)
    return numpy.arange(len(hertz)) * HOP, hertz.astype(float)


TRACKERS = {
    "praat_ac": lambda sound, rate: praat(sound, rate, "to_pitch_ac"),
    "praat_cc": lambda sound, rate: praat(sound, rate, "to_pitch_cc"),
    "harvest": lambda sound, rate: world(sound, rate, False),
    "dio": lambda sound, rate: world(sound, rate, True),
    "rapt": lambda sound, rate: toolkit(sound, rate, "rapt"),
    "swipe": lambda sound, rate: toolkit(sound, rate, "swipe", threshold=0.3),
}


def at(times, when, hertz):
    """The pitch at those times: between two voiced frames in a straight line, else the nearer."""
    place = numpy.interp(times, when, numpy.arange(len(when)))
    low = numpy.floor(place).astype(int)
    high = numpy.minimum(low + 1, len(when) - 1)
    nearer = numpy.where(place - low < 0.5, hertz[low], hertz[high])
    both = (hertz[low] > 0) & (hertz[high] > 0)
    between = hertz[low] + (place - low) * (hertz[high] - hertz[low])
    return numpy.where(both, between, nearer)


def track_all(sounds, rates):
    """Of each sound, for each tracker: the pitch in frames HOP apart, and seconds of work a second."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [str(pathlib.Path(folder) / f"{n}.wav") for n in range(len(sounds))]
        for path, sound, rate in zip(paths, sounds, rates):
            soundfile.write(path, sound.astype(numpy.float32), rate, subtype="FLOAT")
        ours = facts("speech_facts", *paths)
    found = []
    for sound, rate, told in zip(sounds, rates, ours):
        times = numpy.arange(int(len(sound) / rate / HOP)) * HOP
        tracks = {}
        for name, tracker in TRACKERS.items():
            begun = time.perf_counter()
            when, hertz = tracker(sound, rate)
            work = time.perf_counter() - begun
            tracks[name] = (at(times, when + LATE.get(name, 0), hertz), work)
        tracks[OURS] = (numpy.array(told["hertz"])[: len(times)], told["work"])
        found.append(tracks)
    return found


def cents(a, b):
    return 1200 * numpy.abs(numpy.log2(numpy.where(a > 0, a, 1) / numpy.where(b > 0, b, 1)))


def voice(seed, decibels):
    """Ten harmonics on a known pitch, and that pitch in frames; the last two seconds are noise."""
    seconds = numpy.arange(6 * RATE) / RATE
    octaves = numpy.log2(400 / 80) * (1 - numpy.abs(1 - 2 * seconds / 4))
    glide = 80 * 2**octaves
    vibrato = 200 * 2 ** (50 / 1200 * numpy.sin(2 * numpy.pi * 5.5 * seconds))
    hertz = numpy.where(seconds < 4, glide, vibrato)
    turns = 2 * numpy.pi * numpy.cumsum(hertz) / RATE
    sound = sum(numpy.sin(n * turns) / n for n in range(1, 16)) * 0.2
    sound = numpy.concatenate([numpy.zeros(RATE), sound, numpy.zeros(RATE)])
    frames = numpy.arange(8 * 100) * HOP
    truth = numpy.where((frames >= 1) & (frames < 7), at(frames, 1 + seconds, hertz), 0)
    if decibels is not None:
        power = numpy.mean(sound[RATE:-RATE] ** 2) / 10 ** (decibels / 10)
        sound = sound + numpy.random.default_rng(seed).normal(0, power**0.5, len(sound))
    return sound * 0.5, truth


def against(truth, hertz):
    """Mean cents where it is no gross error, gross errors, accuracy, recall, false alarm."""
    voiced, said = truth > 0, hertz > 0
    # mir_eval warns of what is none: a signal without any unvoiced frame.
    ref = mir_eval.melody.freq_to_voicing(truth)
    est = mir_eval.melody.freq_to_voicing(hertz)
    recall, alarm = mir_eval.melody.voicing_measures(ref[1], est[1])
    to_cents = mir_eval.melody.hz2cents
    right = mir_eval.melody.raw_pitch_accuracy(ref[1], to_cents(truth), est[1], to_cents(hertz))
    both = voiced & said
    gross = both & (numpy.abs(hertz / numpy.where(voiced, truth, 1) - 1) > 0.2)
    fine = cents(hertz, truth)[both & ~gross]
    return (
        fine.mean() if len(fine) else numpy.nan,
        100 * gross.sum() / max(both.sum(), 1),
        100 * right,
        100 * recall,
        100 * alarm,
    )


def known_pitch():
    print("Known pitch: cents / gross % / within 50 cents % / recall % / false alarm %")
    levels = [None, 20, 10, 5, 0]
    made = [voice(seed, level) for level in levels for seed in (range(3) if level is not None else [0])]
    which = [level for level in levels for _ in (range(3) if level is not None else [0])]
    found = track_all([sound for sound, _ in made], [RATE] * len(made))
    table = {}
    for name in [*TRACKERS, OURS]:
        for level in levels:
            rows = [
                against(truth, tracks[name][0])
                for (_, truth), tracks, its in zip(made, found, which)
                if its == level
            ]
            table[name, level] = numpy.mean(rows, axis=0)
        row = " | ".join("{:.2f} {:.2f} {:.1f} {:.1f} {:.1f}".format(*table[name, l]) for l in levels)
        work = sum(tracks[name][1] for tracks in found) / (8 * len(made))
        print(f"  {name:10} {row} | {work:.5f} s a second")
    return table


def recordings(folders):
    files = [pathlib.Path(pysptk.util.example_audio_file())]
    files += [path for folder in folders for path in sorted(pathlib.Path(folder).rglob("*.wav"))]
    for path in files:
        sound, rate = soundfile.read(str(path))
        yield numpy.ascontiguousarray(sound), rate


def speech(folders):
    sounds, rates = zip(*recordings(folders))
    seconds = sum(len(sound) / rate for sound, rate in zip(sounds, rates))
    print(f"Speech, {seconds:.0f} s: agreement % / voiced % / voiced where nobody is % / gross against praat_ac %")
    found = track_all(sounds, rates)
    table = {}
    for name in [*TRACKERS, OURS]:
        agreed = voted = said = alone = nobody = gross = both = 0
        for tracks in found:
            hertz = tracks[name][0]
            others = numpy.array([tracks[other][0] for other in TRACKERS if other != name])
            median = numpy.nanmedian(numpy.where(others > 0, others, numpy.nan), axis=0)
            near = (others > 0) & (cents(others, median) <= 50)
            vote = near.sum(axis=0) >= 4
            voted += vote.sum()
            said += (vote & (hertz > 0)).sum()
            agreed += (vote & (hertz > 0) & (cents(hertz, median) <= 50)).sum()
            none = (others > 0).sum(axis=0) == 0
            nobody += none.sum()
            alone += (none & (hertz > 0)).sum()
            praat = tracks["praat_ac"][0]
            pair = (praat > 0) & (hertz > 0)
            both += pair.sum()
            gross += (pair & (numpy.abs(hertz / numpy.where(pair, praat, 1) - 1) > 0.2)).sum()
        work = sum(tracks[name][1] for tracks in found) / seconds
        table[name] = (100 * agreed / voted, 100 * said / voted, 100 * alone / nobody, 100 * gross / both)
        row = " / ".join(f"{value:.2f}" for value in table[name])
        print(f"  {name:10} {voted} frames: {row} | {work:.5f} s a second")
    return table


def main():
    numpy.seterr(all="ignore")
    known = known_pitch()
    spoken = speech(sys.argv[1:])

    # Clean and in noise no tracker may be nearer to the truth by more than a cent, or find more of it.
    for level in (None, 20, 10, 5, 0):
        ours = known[OURS, level]
        best = min(known[name, level][0] for name in TRACKERS)
        assert ours[0] < best + 1, (level, ours, best)
        assert ours[1] == 0, f"{level} dB: {ours[1]:.2f} % gross errors"
        assert ours[2] > 99 and ours[3] > 99 and ours[4] < 3, (level, ours)
    # In speech, the best of the others or better, but for half a point.
    agreement = {name: row[0] for name, row in spoken.items()}
    best = max(value for name, value in agreement.items() if name not in (OURS, "harvest"))
    assert agreement[OURS] > max(best, 98) - 0.5, agreement
    # Harvest is left out above: it calls nearly everything voiced, so it never misses.
    assert spoken[OURS][2] < 10 and spoken[OURS][3] < 1, spoken[OURS]


if __name__ == "__main__":
    sys.exit(main())
