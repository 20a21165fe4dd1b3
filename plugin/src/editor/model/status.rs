//! The status line: what the plug-in is doing, in words, and every problem with its cause and
//! its remedy.

use crate::editor::model::flag::SongBars;
use crate::editor::model::practice;
use crate::editor::seen::Seen;
use procession_core::motion::{StagePart, drift_cycles};
use procession_core::part::{CopyNumber, Part};
use procession_core::phrase::MAX_NOTES;
use procession_core::settings::{CopiesMove, Growth, Motion};
use procession_core::time::Beats;
use procession_core::words::{
    copies_named, listed, minutes, place_words, step_numbers, steps_ahead_each, to_hundredths,
};

/// What only the window knows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct WindowState {
    /// Whether the plug-in is bypassed.
    pub bypass: bool,
    /// Whether hold was asked for last, and nothing had been played.
    pub nothing_played: bool,
}

/// The status line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Status {
    /// What the plug-in is doing.
    pub doing: String,
    /// What is not as the composer may think it is: cause and remedy. The worst first.
    pub problems: Vec<String>,
}

/// What is to be said of this moment.
pub fn status(seen: &Seen, window: WindowState) -> Status {
    Status {
        doing: doing(seen, window),
        problems: problems(seen, window),
    }
}

/// "1:12 of 3:36": how far the process has come, and how long it takes in all.
pub fn progress(seen: &Seen) -> Option<String> {
    let tempo = tempo(seen);
    let total = seen.form.totals.chosen;
    if seen.phrase().is_empty() || total <= 0.0 {
        return None;
    }
    if seen.process.voices().are_cued() {
        return Some(format!("{}, on cue", minutes(seen.elapsed(), tempo)));
    }
    let total = if seen.form.endless {
        "endless".to_owned()
    } else {
        minutes(total, tempo)
    };
    Some(format!("{} of {total}", minutes(seen.elapsed(), tempo)))
}

fn doing(seen: &Seen, window: WindowState) -> String {
    let notes = notes(seen.phrase().notes().len());
    if window.bypass {
        return "Bypassed: what you play goes straight through.".to_owned();
    }
    if let Some(end) = seen.snapshot.ending.filter(|_| seen.snapshot.running) {
        let left = wait(end - seen.snapshot.position, seen);
        return format!("Hold is off: it plays the cycle to its end, in {left}.");
    }
    if let Some(practising) = practice::doing(seen) {
        return practising;
    }
    if seen.hold && seen.spoken.works {
        return "Working out what was said: it plays when that is done.".to_owned();
    }
    match (seen.phrase().is_empty(), seen.hold) {
        (true, false) if seen.spoken.listens => {
            "Listening to the voice. Say a sentence, then press Hold.".to_owned()
        }
        (false, false) if seen.spoken.listens => format!(
            "Listening to the voice. Hold takes what is said; if nothing is said, it plays the phrase \
             of {notes} from before."
        ),
        (true, false) => "Listening. Play a phrase, then press Hold.".to_owned(),
        (true, true) => "Holding, but there is no phrase yet.".to_owned(),
        (false, false) => format!(
            "Listening. Hold takes what you play; if you play nothing, it plays the phrase of \
             {notes} from before."
        ),
        (false, true) if !seen.snapshot.running => {
            let from = match seen.beginning.at {
                Some(at) => format!(", from bar {} on", SongBars::of(seen).text(at)),
                None => String::new(),
            };
            format!("Holding {notes}. They play when the song rolls{from}.")
        }
        (false, true) => running(seen) + &played_at(seen).unwrap_or_default(),
    }
}

/// For how many cycles after a phrase was taken it is said at what tempo it was played.
const SAID_FOR: f64 = 8.0;

/// At what tempo the phrase was played, if that was not the host's.
fn played_at(seen: &Seen) -> Option<String> {
    let (played, taken) = (seen.snapshot.played_at, seen.snapshot.taken_as);
    let is_new = seen.elapsed() < SAID_FOR * seen.phrase().length();
    let differs = played > 0.0 && played.round() != taken.round();
    (is_new && differs).then(|| format!(" You played at about {played:.0}, taken as {taken:.0}."))
}

fn running(seen: &Seen) -> String {
    let at = seen.snapshot.position;
    let begins_in = seen.process.origin() - at;
    if begins_in > 0.0 {
        return waiting(begins_in, seen);
    }
    let said: Vec<String> = [growing(seen, at), copies(seen, at)]
        .into_iter()
        .flatten()
        .collect();
    if said.is_empty() {
        "The steady voice plays alone.".to_owned()
    } else {
        said.join(". ") + "."
    }
}

/// What is waited for, and whether it is being counted in.
fn waiting(begins_in: Beats, seen: &Seen) -> String {
    let bars = SongBars::of(seen);
    let left = wait(begins_in, seen);
    // On its own clock there are no bars of the song.
    let place = match seen.snapshot.playing {
        true => {
            let bar_line = seen.process.origin() + seen.phrase().pick_up();
            format!(" at bar {}", bars.text(bar_line))
        }
        false => String::new(),
    };
    // A pick-up is played within it.
    let count_in = f64::from(seen.beginning.count_in) * bars.length - seen.phrase().pick_up();
    if begins_in <= count_in {
        return format!("Counting in: it begins{place} in {left}.");
    }
    match seen.beginning.at {
        Some(_) => format!("Waiting: it is written to begin{place}, in {left}."),
        None => format!("Waiting: it begins{place}, in {left}."),
    }
}

/// How the phrase grows, until it has.
fn growing(seen: &Seen, at: Beats) -> Option<String> {
    if seen.settings().growth.growth == Growth::Off {
        return None;
    }
    let stage = seen.form.stages.get(seen.form.stage_at(at)?)?;
    let all = seen.phrase().notes().len();
    (stage.shown < all).then(|| {
        let cycle = ((at - stage.span.start) / stage.lap).floor() + 1.0;
        let cycles = (stage.span.length() / stage.lap).round().max(1.0);
        format!(
            "Growth: {} of {all} notes, cycle {cycle:.0} of {cycles:.0}; next in {}",
            stage.shown,
            wait(stage.span.end - at, seen)
        )
    })
}

/// Steps by which a copy may miss where it is told to stand before it is said to be on its way.
const SLIDES: f64 = 0.01;

/// A copy at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Moment {
    copy: CopyNumber,
    /// Steps ahead.
    ahead: f64,
    /// Steps ahead before and after the move it makes, or makes next.
    from: f64,
    to: f64,
    part: StagePart,
    /// Where it is told to stand now, in steps; while it gets there, it is not locked.
    told: f64,
    /// Whether only a cue ends its dwell.
    waits_for_cue: bool,
    /// Steps of its cycle, if that is one of its own.
    cycle: Option<f64>,
    /// How it goes on from there.
    goes_on: Motion,
    /// Song position at which the part began and ends.
    since: Beats,
    until: Beats,
}

impl Moment {
    fn of(copy: CopyNumber, seen: &Seen, at: Beats) -> Option<Self> {
        let process = &seen.process;
        let part = Part::Copy(copy);
        let moment = process.voices().copy_moment(copy, at)?;
        let step = seen.settings().step();
        let from = moment.from / step;
        Some(Self {
            copy,
            ahead: seen.steps_ahead(part).unwrap_or(from),
            from,
            to: moment.to / step,
            part: moment.part,
            told: process.voices().displacement(part, at).unwrap_or_default() / step,
            waits_for_cue: moment.waits_for_cue,
            cycle: (process.voices().own_cycle(copy)).map(|own| own.length / step),
            goes_on: moment.goes_on,
            since: moment.since,
            until: moment.until,
        })
    }

    /// Whether it is on its way to an offset of its own that it was told.
    fn slides(&self) -> bool {
        (self.told - self.ahead).abs() > SLIDES
    }

    /// Whether this copy moves, or will at the end of its dwell.
    fn has_a_move(&self) -> bool {
        self.from != self.to
    }

    fn goes_with(&self, other: &Self) -> bool {
        self.part == other.part
            && self.slides() == other.slides()
            && self.since == other.since
            && self.has_a_move() == other.has_a_move()
    }
}

/// Where the copies stand and what they do: those that move first, the others briefly.
fn copies(seen: &Seen, at: Beats) -> Option<String> {
    let all: Vec<Moment> = (seen.process.voices().copies())
        .filter_map(|copy| Moment::of(copy, seen, at))
        .collect();
    let mut said = Vec::new();
    if let Some(lead) = lead(&all) {
        let (with, others): (Vec<Moment>, _) =
            all.iter().copied().partition(|one| one.goes_with(lead));
        said.push(together(&with, seen, at));
        if !others.is_empty() {
            said.push(stand(&others));
        }
    }
    said.extend(next_entry(seen, at));
    said.extend(together_again(seen));
    (!said.is_empty()).then(|| said.join(". "))
}

/// The copy whose doing is told: one that moves rather than one that stands, then the first to do
/// something else.
fn lead(all: &[Moment]) -> Option<&Moment> {
    all.iter().min_by(|one, other| {
        let rank = |moment: &Moment| (!moment.has_a_move(), moment.part == StagePart::Dwell);
        rank(one)
            .cmp(&rank(other))
            .then(one.until.total_cmp(&other.until))
    })
}

/// Copies that do the same at the same time.
fn together(with: &[Moment], seen: &Seen, at: Beats) -> String {
    let Some(first) = with.first() else {
        return String::new();
    };
    let cycle = cycle(first, seen, at);
    let who = who(with);
    let then = |what: &str| format!("; {what} in {}", wait(first.until - at, seen));
    let places = |of: fn(&Moment) -> f64| places(with, of);
    match first.part {
        StagePart::Dwell if first.slides() => format!(
            "{who}: {}, on the way to {}",
            places(|one| one.ahead),
            places(|one| one.told)
        ),
        StagePart::Dwell => {
            let unison = with
                .iter()
                .all(|one| one.cycle.is_none() && seen.form.is_whole_rotation(one.ahead));
            let place = if unison && with.len() + 1 == seen.process.voices().count() {
                "in unison with the steady voice".to_owned()
            } else {
                places(|one| one.ahead)
            };
            if first.waits_for_cue {
                format!("{who}: {place}, locked until a cue, {cycle}")
            } else if first.until.is_infinite() {
                format!("{who}: {place}, locked to the end")
            } else if first.has_a_move() {
                let what = match first.goes_on {
                    Motion::Drift => "drift begins",
                    Motion::Jump => "jump",
                    Motion::BuildUp => "build-up begins",
                };
                format!("{who}: {place}, locked, {cycle}{}", then(what))
            } else {
                format!("{who}: {place}, locked, {cycle}")
            }
        }
        StagePart::Lean | StagePart::Settle if first.has_a_move() => {
            format!("{who}: drifting {}, {cycle}{}", way(with), then("locks"))
        }
        StagePart::Lean | StagePart::Settle => format!("{who}: {}", places(|one| one.ahead)),
        StagePart::Build => format!(
            "{who}: building up {}, {cycle}{}",
            places(|one| one.to),
            then("whole")
        ),
    }
}

/// Where the others stand.
fn stand(others: &[Moment]) -> String {
    let places = places(others, |one| one.ahead);
    format!("{}: {places}", who(others))
}

/// After how many cycles voices of unequal length stand to each other as they did, wherever that is.
fn together_again(seen: &Seen) -> Option<String> {
    let voices = seen.process.voices();
    voices.own_cycles().next()?;
    let cycles = (voices.all_together()? / seen.phrase().length()).round();
    Some(match cycles {
        1.0 => "All comes round each cycle".to_owned(),
        _ => format!("All comes round every {cycles} cycles"),
    })
}

fn next_entry(seen: &Seen, at: Beats) -> Option<String> {
    let waiting = (seen.process.voices().copies().map(Part::Copy))
        .filter_map(|part| Some((part, seen.process.voices().entry(part)?)))
        .find(|(_, entry)| *entry > at)?;
    Some(format!(
        "{} enters in {}",
        waiting.0,
        wait(waiting.1 - at, seen)
    ))
}

/// "cycle 5 of 8"
fn cycle(moment: &Moment, seen: &Seen, at: Beats) -> String {
    let length = seen.phrase().length();
    let now = ((at - moment.since) / length).floor().max(0.0) + 1.0;
    let all = ((moment.until - moment.since) / length).round().max(1.0);
    if all.is_infinite() {
        format!("cycle {now:.0}")
    } else {
        format!("cycle {:.0} of {all:.0}", now.min(all))
    }
}

/// "Copy 2", "Copies 1 to 3", "Copies 1 and 3".
fn who(moments: &[Moment]) -> String {
    let copies: Vec<usize> = moments.iter().map(|one| one.copy.number()).collect();
    copies_named(&copies).replacen('c', "C", 1)
}

/// Where copies stand, in words: "3, 6 and 9 steps ahead", "1 step ahead, copies 2 to 5 in unison".
fn places(with: &[Moment], of: fn(&Moment) -> f64) -> String {
    if with.iter().any(|one| one.cycle.is_some()) {
        let place = |one: &Moment| place_words(of(one), one.cycle);
        return match with {
            [one] => place(one),
            _ => listed((with.iter()).map(|one| format!("{} ({})", one.copy.number(), place(one)))),
        };
    }
    let (in_unison, apart): (Vec<Moment>, Vec<Moment>) = with
        .iter()
        .copied()
        .partition(|one| to_hundredths(of(one)) == 0.0);
    let apart: Vec<f64> = apart.iter().map(of).collect();
    let copies: Vec<usize> = in_unison.iter().map(|one| one.copy.number()).collect();
    match (in_unison.is_empty(), apart.is_empty()) {
        (_, true) => "in unison with the steady voice".to_owned(),
        (true, _) => steps_ahead_each(&apart),
        (false, false) => format!(
            "{}, {} in unison",
            steps_ahead_each(&apart),
            copies_named(&copies)
        ),
    }
}

/// From where to where copies move: "from 2 to 3 steps ahead"; the side is said once if it can be.
fn way(with: &[Moment]) -> String {
    let ends = |of: fn(&Moment) -> f64| with.iter().map(of).collect::<Vec<_>>();
    let (from, to) = (ends(|one| one.from), ends(|one| one.to));
    let side = |steps: &f64| (*steps > 0.0, *steps < 0.0);
    let sides = |steps: &[f64]| {
        let each = steps.iter().map(side);
        each.fold((false, false), |all, one| (all.0 || one.0, all.1 || one.1))
    };
    match (sides(&from), sides(&to)) {
        (_, (false, false)) => {
            let own = with.iter().all(|one| one.cycle.is_some());
            let level = if own { "where it began" } else { "unison" };
            format!("from {} to {level}", steps_ahead_each(&from))
        }
        ((_, false), (_, false)) | ((false, _), (false, _)) => {
            format!("from {} to {}", step_numbers(&from), steps_ahead_each(&to))
        }
        _ => format!(
            "from {} to {}",
            steps_ahead_each(&from),
            steps_ahead_each(&to)
        ),
    }
}

/// "9 s", and from a minute on "1:05".
fn wait(beats: Beats, seen: &Seen) -> String {
    let seconds = (beats * 60.0 / tempo(seen)).ceil().max(0.0);
    if seconds < 60.0 {
        format!("{seconds} s")
    } else {
        minutes(beats, tempo(seen))
    }
}

/// Beats a minute; until the host has told, 120.
fn tempo(seen: &Seen) -> f64 {
    if seen.snapshot.tempo > 0.0 {
        seen.snapshot.tempo
    } else {
        120.0
    }
}

fn notes(count: usize) -> String {
    match count {
        1 => "1 note".to_owned(),
        many => format!("{many} notes"),
    }
}

fn cycles(count: u32) -> String {
    match count {
        1 => "1 cycle".to_owned(),
        many => format!("{many} cycles"),
    }
}

fn problems(seen: &Seen, window: WindowState) -> Vec<String> {
    let found = [
        seen.notice.clone(),
        nothing_played(seen, window),
        nothing_said(seen),
        left_out(seen),
        too_fast(seen),
    ];
    found.into_iter().flatten().collect()
}

fn nothing_played(seen: &Seen, window: WindowState) -> Option<String> {
    let missed = seen.hold && window.nothing_played;
    match (missed, seen.phrase().is_empty()) {
        (false, _) => None,
        (true, true) => Some(
            "Nothing was played before Hold, so there is nothing to hold. Switch Hold off, play a \
             phrase, and switch it on again."
                .to_owned(),
        ),
        (true, false) => Some(
            "Nothing was played before Hold: the phrase that was there plays. For another one, \
             switch Hold off, play, and switch it on again."
                .to_owned(),
        ),
    }
}

fn nothing_said(seen: &Seen) -> Option<String> {
    let missed = seen.spoken.live.missed.clone();
    missed.filter(|_| seen.hold && seen.spoken.listens)
}

fn left_out(seen: &Seen) -> Option<String> {
    let count = seen.snapshot.left_out;
    (seen.hold && count > 0).then(|| {
        format!(
            "Left out of what you played: {}. A phrase has at most {MAX_NOTES} notes: set a shorter \
             Phrase length and take it again.",
            notes(count as usize)
        )
    })
}

fn too_fast(seen: &Seen) -> Option<String> {
    let motion = &seen.settings().motion;
    let moves = !seen.process.route().is_written()
        && motion.motion == Motion::Drift
        && motion.copies > 0
        && motion.shift_by != 0;
    let taken = drift_cycles(seen.phrase(), seen.settings());
    let asked = motion.drift.max(1);
    (moves && !seen.phrase().is_empty() && taken > asked).then(|| {
        let fewer = if motion.copies_move == CopiesMove::Fanned && motion.copies > 1 {
            "shift by less, or let copies move Together"
        } else {
            "shift by less"
        };
        format!(
            "A drift over {} would be faster than a player could: it takes {}. Set Drift over to \
             {taken} or more, or {fewer}.",
            cycles(asked),
            cycles(taken)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::phrase::Phrase;
    use procession_core::settings::{GrowthOrder, Settings, Shifts};

    /// Twelve sixteenths: a cycle is 3 beats, 1.5 s at 120.
    const TWELVE: &str = "D4 . F4 G4 . A4 C5 . A4 . G4 E4";

    fn seen_at(position: Beats, change: impl FnOnce(&mut Settings)) -> Seen {
        let mut settings = Settings::default();
        change(&mut settings);
        let phrase = Phrase::from_text(TWELVE, 0.25).expect("a phrase");
        let mut snapshot = Snapshot {
            playing: true,
            running: true,
            position,
            tempo: 120.0,
            beats_per_bar: 4.0,
            ..Snapshot::default()
        };
        let process =
            procession_core::process::Process::new(phrase.clone(), settings, snapshot.origin);
        snapshot.ahead = Part::ALL.map(|part| process.voices().displacement(part, position));
        let mut seen = Seen::new(snapshot, phrase, settings, Anchor::Song(0.0));
        seen.hold = true;
        seen
    }

    fn said(position: Beats, change: impl FnOnce(&mut Settings)) -> String {
        status(&seen_at(position, change), WindowState::default()).doing
    }

    #[test]
    fn a_locked_copy_says_where_it_stands_and_when_it_drifts() {
        // Stage 3 (36 beats each after the first): 108 .. 132 is its dwell of 8 cycles of 3 beats.
        assert_eq!(
            said(108.0 + 4.0 * 3.0, |_| ()),
            "Copy 1: 3 steps ahead, locked, cycle 5 of 8; drift begins in 6 s."
        );
    }

    /// Fourteen steps against twelve have 84 in common.
    #[test]
    fn a_copy_in_a_cycle_of_its_own_says_how_long_that_is_and_when_all_comes_round() {
        assert_eq!(
            said(6.0, |settings| settings.copies[0].length = Some(14)),
            "Copy 1: round in 14 steps, locked, cycle 3 of 8; drift begins in 9 s. All comes round \
             every 7 cycles."
        );
        let two = |settings: &mut Settings| {
            settings.motion.copies = 2;
            settings.copies[1].length = Some(4);
            settings.copies[1].offset = 1.0;
        };
        assert_eq!(
            said(6.0, two),
            "Copies 1 and 2: 1 (unison) and 2 (1 step ahead, round in 4 steps), locked, cycle 3 of 8; \
             drift begins in 9 s. All comes round each cycle."
        );
    }

    #[test]
    fn a_drifting_copy_says_from_where_to_where() {
        assert_eq!(
            said(24.0 + 3.0, |_| ()),
            "Copy 1: drifting from 0 to 1 step ahead, cycle 2 of 4; locks in 5 s."
        );
    }

    #[test]
    fn a_fan_of_copies_is_told_in_one_breath() {
        assert_eq!(
            said(108.0 + 1.0, |settings| settings.motion.copies = 3),
            "Copies 1 to 3: 3, 6 and 9 steps ahead, locked, cycle 1 of 8; drift begins in 12 s."
        );
    }

    #[test]
    fn at_the_beginning_and_at_the_end_the_voices_are_in_unison() {
        assert_eq!(
            said(0.0, |_| ()),
            "Copy 1: in unison with the steady voice, locked, cycle 1 of 8; drift begins in 12 s."
        );
        assert_eq!(
            said(1000.0, |_| ()),
            "Copy 1: in unison with the steady voice, locked to the end."
        );
    }

    #[test]
    fn on_cue_it_says_that_a_cue_is_awaited() {
        assert_eq!(
            said(7.0, |settings| settings.motion.advance =
                procession_core::settings::Advance::OnCue),
            "Copy 1: in unison with the steady voice, locked until a cue, cycle 3."
        );
    }

    /// A copy is told to stand 5 steps ahead, and has come to 2.25.
    #[test]
    fn what_slides_to_where_it_was_told_is_not_called_locked() {
        let mut seen = seen_at(1.0, |settings| settings.copies[0].offset = 5.0);
        seen.snapshot.ahead[1] = Some(2.25 * 0.25);
        assert_eq!(
            status(&seen, WindowState::default()).doing,
            "Copy 1: 2.25 steps ahead, on the way to 5 steps ahead."
        );
    }

    #[test]
    fn those_in_unison_are_named_and_not_counted_as_nought() {
        let mut seen = seen_at(36.0 + 1.0, |settings| {
            settings.motion.copies = 5;
            settings.motion.copies_move = CopiesMove::InTurn;
            settings.motion.motion = Motion::Jump;
        });
        for copy in 1..=5 {
            seen.snapshot.ahead[copy] = Some(if copy == 1 { 0.25 } else { 0.0 });
        }
        let doing = status(&seen, WindowState::default()).doing;
        assert!(!doing.contains("0, 0"), "{doing}");
        assert!(doing.contains("in unison"), "{doing}");
    }

    #[test]
    fn one_note_is_spoken_of_as_one() {
        let phrase = Phrase::from_text("D4 . .", 0.25).expect("a phrase");
        let settings = Settings::default();
        let seen = Seen::new(Snapshot::default(), phrase, settings, Anchor::NextStart);
        assert_eq!(
            status(&seen, WindowState::default()).doing,
            "Listening. Hold takes what you play; if you play nothing, it plays the phrase of 1 \
             note from before."
        );
    }

    #[test]
    fn jump_and_build_up_are_called_by_their_names() {
        let jumping = said(1.0, |settings| settings.motion.motion = Motion::Jump);
        assert!(jumping.contains("; jump in 12 s"), "{jumping}");
        let building = said(25.0, |settings| settings.motion.motion = Motion::BuildUp);
        assert!(
            building.starts_with("Copy 1: building up 1 step ahead, cycle 1 of "),
            "{building}"
        );
    }

    #[test]
    fn copies_in_turn_say_who_moves_and_where_the_others_stand() {
        let text = said(24.0 + 3.0, |settings| {
            settings.motion.copies = 2;
            settings.motion.copies_move = CopiesMove::InTurn;
        });
        assert_eq!(
            text,
            "Copy 1: drifting from 0 to 1 step ahead, cycle 2 of 4; locks in 5 s. \
             Copy 2: in unison with the steady voice."
        );
    }

    #[test]
    fn behind_is_behind_and_never_minus() {
        let text = said(109.0, |settings| settings.motion.shift_by = -1);
        assert!(text.starts_with("Copy 1: 3 steps behind, locked"), "{text}");
    }

    #[test]
    fn a_side_is_said_once_unless_there_are_two() {
        let drifting = |change: fn(&mut Settings)| said(24.0 + 3.0, change);
        let text = drifting(|settings| settings.motion.offset = 2.0);
        assert!(text.contains("drifting from 2 to 3 steps ahead"), "{text}");
        let text = drifting(|settings| settings.motion.offset = -1.0);
        assert!(
            text.contains("drifting from 1 step behind to unison"),
            "{text}"
        );
        let text = drifting(|settings| settings.motion.offset = -0.25);
        assert!(
            text.contains("drifting from 0.25 steps behind to 0.75 steps ahead"),
            "{text}"
        );
    }

    #[test]
    fn growth_says_how_many_notes_stand_and_when_more_join() {
        let text = said(7.0, |settings| {
            settings.growth.growth = Growth::Fill;
            settings.growth.order = GrowthOrder::Forward;
        });
        assert!(
            text.starts_with("Growth: 2 of 8 notes, cycle 1 of 2; next in 3 s"),
            "{text}"
        );
        assert!(text.contains("Copy 1 enters in "), "{text}");
    }

    #[test]
    fn before_the_origin_it_says_when_it_begins() {
        assert_eq!(said(-4.0, |_| ()), "Waiting: it begins at bar 1, in 2 s.");
    }

    #[test]
    fn it_says_what_it_waits_for_and_what_it_ends_with() {
        let mut seen = seen_at(-4.0, |_| ());
        seen.hold = true;
        let doing = |seen: &Seen| status(seen, WindowState::default()).doing;
        seen.beginning.at = Some(0.0);
        assert_eq!(
            doing(&seen),
            "Waiting: it is written to begin at bar 1, in 2 s."
        );
        seen.beginning.count_in = 1;
        assert_eq!(doing(&seen), "Counting in: it begins at bar 1 in 2 s.");
        seen.snapshot.playing = false;
        assert_eq!(doing(&seen), "Counting in: it begins in 2 s.");
        seen.snapshot.running = false;
        seen.beginning.at = Some(129.0);
        assert_eq!(
            doing(&seen),
            "Holding 8 notes. They play when the song rolls, from bar 33:2 on."
        );
        seen.hold = false;
        (seen.snapshot.running, seen.snapshot.ending) = (true, Some(-1.0));
        assert_eq!(
            doing(&seen),
            "Hold is off: it plays the cycle to its end, in 2 s."
        );
    }

    #[test]
    fn an_endless_process_still_knows_its_place_after_hours() {
        let text = said(36.0 * 1000.0 + 1.0, |settings| {
            settings.motion.shifts = Shifts::Endless;
        });
        assert!(
            text.starts_with("Copy 1: 1000 steps ahead, locked, cycle 1 of 8"),
            "{text}"
        );
    }

    #[test]
    fn knowing_nothing_one_is_told_what_to_do() {
        let empty = Phrase::empty(4.0).expect("a bar");
        let mut seen = Seen::new(
            Snapshot::default(),
            empty,
            Settings::default(),
            Anchor::NextStart,
        );
        let status_of = |seen: &Seen, window| status(seen, window);
        assert_eq!(
            status_of(&seen, WindowState::default()).doing,
            "Listening. Play a phrase, then press Hold."
        );
        seen.hold = true;
        let nothing = WindowState {
            nothing_played: true,
            ..WindowState::default()
        };
        let said = status_of(&seen, nothing);
        assert_eq!(said.problems.len(), 1);
        assert!(said.problems[0].contains("nothing to hold"));
    }

    #[test]
    fn holding_with_the_song_at_rest_says_what_is_awaited() {
        let mut seen = seen_at(0.0, |_| ());
        seen.snapshot.running = false;
        assert_eq!(
            status(&seen, WindowState::default()).doing,
            "Holding 8 notes. They play when the song rolls."
        );
    }

    #[test]
    fn a_hand_that_was_slow_is_told_how_it_was_taken() {
        let mut seen = seen_at(1.0, |_| ());
        (seen.snapshot.played_at, seen.snapshot.taken_as) = (117.6, 120.0);
        let said = |seen: &Seen| status(seen, WindowState::default()).doing;
        let words = " You played at about 118, taken as 120.";
        assert!(said(&seen).ends_with(words), "{}", said(&seen));
        seen.snapshot.played_at = 119.8;
        assert!(!said(&seen).contains("about"), "{}", said(&seen));
        let mut later = seen_at(100.0, |_| ());
        (later.snapshot.played_at, later.snapshot.taken_as) = (117.6, 120.0);
        assert!(!said(&later).contains("about"), "{}", said(&later));
    }

    #[test]
    fn a_drift_that_no_player_could_make_says_how_long_it_takes() {
        let seen = seen_at(0.0, |settings| {
            settings.motion.drift = 1;
            settings.motion.shift_by = 8;
            settings.motion.copies = 2;
        });
        let problems = status(&seen, WindowState::default()).problems;
        // Copy 2 moves by 16 steps, 4 beats: at twice the tempo at most that takes 8 beats,
        // which is 3 cycles.
        assert_eq!(
            problems,
            [
                "A drift over 1 cycle would be faster than a player could: it takes 3 cycles. Set \
                 Drift over to 3 or more, or shift by less, or let copies move Together."
            ]
        );
    }

    #[test]
    fn notes_that_found_no_room_are_named_with_the_remedy() {
        let mut seen = seen_at(0.0, |_| ());
        seen.snapshot.left_out = 3;
        let problems = status(&seen, WindowState::default()).problems;
        assert!(problems[0].starts_with("Left out of what you played: 3 notes."));
        assert!(problems[0].contains("shorter Phrase length"));
    }

    #[test]
    fn a_state_that_was_refused_comes_first() {
        let mut seen = seen_at(0.0, |_| ());
        seen.snapshot.left_out = 1;
        seen.notice = Some("The saved phrase was refused: it is damaged.".to_owned());
        let problems = status(&seen, WindowState::default()).problems;
        assert_eq!(problems.len(), 2);
        assert!(problems[0].contains("refused"));
    }

    #[test]
    fn progress_counts_minutes_of_the_whole() {
        // 12 shifts of 36 beats and a last dwell.
        let progress = progress(&seen_at(144.0, |_| ())).expect("it runs");
        assert!(progress.starts_with("1:12 of 3:"), "{progress}");
    }
}
