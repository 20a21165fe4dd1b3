"""What `cargo xtask bench` compares unrolling and writing with: the script that a user would write
with a general-purpose MIDI library. So many voices repeat a phrase of 32 sixteenths, each a little
faster than the one before it, and are written to a MIDI file, a track a voice.

Called with the voices, the notes of each, and a folder. Tells the seconds that each library took,
as JSON. One that is missing is left out.
"""

import json
import pathlib
import sys
import time

BPM = 140
TICKS = 960
KEYS = [62, 69, 65, 72, 64, 71, 74, 69, 76, 72, 67, 65, 62, 64, 69, 67]
LENGTH = 0.2


def notes(voice, count):
    """Onset in beats, key and velocity of each note."""
    step = 0.25 * (1 - 0.0005 * voice)
    for index in range(count):
        yield index * step, KEYS[index % len(KEYS)], 89


def by_symusic(voices, count, path):
    import symusic

    score = symusic.Score(TICKS)
    score.tempos.append(symusic.Tempo(0, BPM))
    for voice in range(voices):
        track = symusic.Track(f"voice {voice}")
        track.notes.extend(
            symusic.Note(round(on * TICKS), round(LENGTH * TICKS), key, velocity)
            for on, key, velocity in notes(voice, count)
        )
        score.tracks.append(track)
    score.dump_midi(path)


def by_mido(voices, count, path):
    import mido

    file = mido.MidiFile(ticks_per_beat=TICKS)
    file.tracks.append(mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(BPM))]))
    for voice in range(voices):
        events = []
        for on, key, velocity in notes(voice, count):
            events.append((round(on * TICKS), "note_on", key, velocity))
            events.append((round((on + LENGTH) * TICKS), "note_off", key, 0))
        events.sort()
        track, now = mido.MidiTrack(), 0
        for tick, kind, key, velocity in events:
            track.append(
                mido.Message(kind, channel=voice, note=key, velocity=velocity, time=tick - now)
            )
            now = tick
        file.tracks.append(track)
    file.save(path)


def by_pretty_midi(voices, count, path):
    import pretty_midi

    file = pretty_midi.PrettyMIDI(resolution=TICKS, initial_tempo=BPM)
    beat = 60 / BPM
    for voice in range(voices):
        instrument = pretty_midi.Instrument(12, name=f"voice {voice}")
        instrument.notes.extend(
            pretty_midi.Note(velocity, key, on * beat, (on + LENGTH) * beat)
            for on, key, velocity in notes(voice, count)
        )
        file.instruments.append(instrument)
    file.write(str(path))


def seconds(write, voices, count, folder):
    """What one takes, its import left out; None if it is missing."""
    path = pathlib.Path(folder) / "offline.mid"
    try:
        write(1, 1, path)
    except ImportError:
        return None
    begun = time.perf_counter()
    write(voices, count, path)
    took = time.perf_counter() - begun
    path.unlink()
    return took


voices, count, folder = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
all_of_them = {"symusic": by_symusic, "mido": by_mido, "pretty_midi": by_pretty_midi}
took = {name: seconds(write, voices, count, folder) for name, write in all_of_them.items()}
print(json.dumps({name: took for name, took in took.items() if took is not None}))
