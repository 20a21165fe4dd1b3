//! Editing: a route, and the route that a composer's hand makes of it.
//!
//! An [`Edit`] is one gesture. It leaves the route it is made on as it was, and gives back another
//! that has been checked, or says why it cannot be. Stages are counted from 0 here and from 1 in
//! words. For the window: these allocate.

use super::{Afterwards, Dwell, Route, RouteError, Turn, Way, WrittenStage};
use crate::part::{CopyNumber, MAX_COPIES};

/// One gesture on a written route.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// How long a stage is dwelt in.
    Dwell {
        /// Which stage.
        stage: usize,
        /// So many cycles, or until a cue.
        dwell: Dwell,
    },
    /// How a stage is come to, and over how many cycles.
    Way {
        /// Which stage.
        stage: usize,
        /// The way there.
        way: Way,
    },
    /// Where one copy stands in a stage.
    Ahead {
        /// Which stage.
        stage: usize,
        /// Which copy.
        copy: CopyNumber,
        /// Steps ahead; behind, if negative.
        steps: f64,
    },
    /// How many notes of the phrase sound in a stage.
    Grown {
        /// Which stage.
        stage: usize,
        /// In the order of growth; none leaves it to growth.
        notes: Option<u32>,
    },
    /// Another mode from a stage on, or no change of mode there.
    Turn {
        /// Which stage.
        stage: usize,
        /// Into which mode.
        turn: Option<Turn>,
    },
    /// A stage is gone; the next one is come to from the one before it.
    LeaveOut {
        /// Which stage.
        stage: usize,
    },
    /// A stage stands so many times in a row, each time come to as it is written.
    Repeat {
        /// Which stage.
        stage: usize,
        /// How many times in all; once is as it was.
        times: usize,
    },
    /// A stage to another place in the list; those between close up.
    Move {
        /// Which stage.
        from: usize,
        /// Where it stands afterwards.
        to: usize,
    },
    /// A stage more.
    PutIn {
        /// Where it stands afterwards; as many as there are stages is the end.
        at: usize,
        /// The stage.
        stage: WrittenStage,
    },
    /// What comes after the last stage.
    Afterwards(Afterwards),
}

/// Why a route cannot be edited so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EditError {
    /// The settings make the form.
    #[error("Nothing is written yet. Write the form out as a list first.")]
    NotWritten,
    /// There is no such stage.
    #[error("There is no stage {stage}: the route has {count}.")]
    NoStage {
        /// Counted from 1.
        stage: usize,
        /// How many there are.
        count: usize,
    },
    /// A route of no stages would be the generated one.
    #[error("A route needs a stage, and this is its only one. Choose \"As generated\" to go back.")]
    OnlyStage,
    /// A stage that never comes.
    #[error("Repeated 0 times, a stage would be gone. Leave it out instead.")]
    NoTimes,
    /// What it would become is no route.
    #[error(transparent)]
    Route(#[from] RouteError),
}

impl Route {
    /// What the route becomes by that gesture.
    ///
    /// A round that comes afterwards goes on from the same stage as before, wherever that stands
    /// now; if that stage is left out, from the one that takes its place.
    ///
    /// # Errors
    /// If the route is not written, has no such stage or keeps none, or if what is asked for is out
    /// of the bounds that [`Route::new`] checks.
    pub fn edited(&self, edit: &Edit) -> Result<Self, EditError> {
        if !self.is_written() {
            return Err(EditError::NotWritten);
        }
        let mut list = List::of(self);
        match edit {
            Edit::Dwell { stage, dwell } => list.stage(*stage)?.dwell = *dwell,
            Edit::Way { stage, way } => list.stage(*stage)?.way = *way,
            Edit::Ahead { stage, copy, steps } => {
                list.stage(*stage)?.ahead[copy.index()] = *steps;
            }
            Edit::Grown { stage, notes } => list.stage(*stage)?.grown = *notes,
            Edit::Turn { stage, turn } => list.stage(*stage)?.turn = *turn,
            Edit::LeaveOut { stage } => list.leave_out(*stage)?,
            Edit::Repeat { stage, times } => list.repeat(*stage, *times)?,
            Edit::Move { from, to } => list.move_to(*from, *to)?,
            Edit::PutIn { at, stage } => list.put_in(*at, stage)?,
            Edit::Afterwards(afterwards) => list.afterwards = *afterwards,
        }
        Ok(Self::new(&list.stages, list.afterwards)?)
    }

    /// The round that goes on from stage `from` (counted from 0) after the last one, for a phrase
    /// that is as it was after `rotation` steps: each copy has gained the whole turns that bring
    /// it back by the shortest way.
    pub fn round_from(&self, from: usize, rotation: f64) -> Afterwards {
        let copy_gains = |copy: usize| {
            let ahead = |stage: Option<&WrittenStage>| stage.map_or(0.0, |stage| stage.ahead[copy]);
            let gone = ahead(self.stages.last()) - ahead(self.stages.get(from));
            (gone / rotation).round() * rotation
        };
        Afterwards::Repeat {
            from,
            gained: std::array::from_fn::<_, MAX_COPIES, _>(copy_gains),
        }
    }
}

/// A route on the desk: as many stages as the hand lays there, to be checked when it is done.
struct List {
    stages: Vec<WrittenStage>,
    afterwards: Afterwards,
}

impl List {
    fn of(route: &Route) -> Self {
        Self {
            stages: route.stages.to_vec(),
            afterwards: route.afterwards,
        }
    }

    fn stage(&mut self, stage: usize) -> Result<&mut WrittenStage, EditError> {
        let count = self.stages.len();
        self.stages.get_mut(stage).ok_or(no_stage(stage, count))
    }

    fn leave_out(&mut self, stage: usize) -> Result<(), EditError> {
        self.stage(stage)?;
        if self.stages.len() == 1 {
            return Err(EditError::OnlyStage);
        }
        self.stages.remove(stage);
        let last = self.stages.len() - 1;
        self.round_goes_on_from(|from| (from - usize::from(from > stage)).min(last));
        Ok(())
    }

    fn repeat(&mut self, stage: usize, times: usize) -> Result<(), EditError> {
        let repeated = *self.stage(stage)?;
        let more = times.checked_sub(1).ok_or(EditError::NoTimes)?;
        self.make_room(more)?;
        let again = std::iter::repeat_n(repeated, more);
        self.stages.splice(stage..stage, again);
        self.round_goes_on_from(|from| if from > stage { from + more } else { from });
        Ok(())
    }

    fn move_to(&mut self, from: usize, to: usize) -> Result<(), EditError> {
        self.stage(to)?;
        let moved = *self.stage(from)?;
        self.stages.remove(from);
        self.stages.insert(to, moved);
        self.round_goes_on_from(|round| match round {
            round if round == from => to,
            round if from < round && round <= to => round - 1,
            round if to <= round && round < from => round + 1,
            round => round,
        });
        Ok(())
    }

    fn put_in(&mut self, at: usize, stage: &WrittenStage) -> Result<(), EditError> {
        let count = self.stages.len();
        if at > count {
            return Err(no_stage(at, count));
        }
        self.make_room(1)?;
        self.stages.insert(at, *stage);
        self.round_goes_on_from(|from| from + usize::from(from >= at));
        Ok(())
    }

    /// Before more stages are laid down than a machine can hold.
    fn make_room(&self, more: usize) -> Result<(), RouteError> {
        let all = self.stages.len().saturating_add(more);
        if all > super::MAX_STAGES {
            return Err(RouteError::TooMany(all));
        }
        Ok(())
    }

    fn round_goes_on_from(&mut self, stands_now: impl FnOnce(usize) -> usize) {
        if let Afterwards::Repeat { from, .. } = &mut self.afterwards {
            *from = stands_now(*from);
        }
    }
}

fn no_stage(stage: usize, count: usize) -> EditError {
    EditError::NoStage {
        stage: stage.saturating_add(1),
        count,
    }
}

#[cfg(test)]
mod tests {
    use super::super::invented::{any_route, any_stage};
    use super::*;
    use crate::route::{CYCLES, FURTHEST, MAX_STAGES};
    use crate::settings::Motion;
    use proptest::prelude::*;

    /// Dwells of so many cycles, copy 1 a step further on in each.
    fn route(dwells: &[u32], afterwards: Afterwards) -> Route {
        let stages: Vec<_> = dwells
            .iter()
            .enumerate()
            .map(|(place, cycles)| {
                let mut ahead = [0.0; MAX_COPIES];
                ahead[0] = place as f64;
                WrittenStage {
                    way: Way {
                        motion: Motion::Drift,
                        over: 4,
                    },
                    dwell: Dwell::Cycles(*cycles),
                    ahead,
                    grown: None,
                    turn: None,
                }
            })
            .collect();
        Route::new(&stages, afterwards).unwrap()
    }

    fn dwells(route: &Route) -> Vec<u32> {
        let counted = |stage: &WrittenStage| match stage.dwell {
            Dwell::Cycles(cycles) => cycles,
            Dwell::UntilCued => 0,
        };
        route.stages().iter().map(counted).collect()
    }

    fn goes_on_from(route: &Route) -> usize {
        match route.afterwards() {
            Afterwards::Repeat { from, .. } => *from,
            other => panic!("no round: {other:?}"),
        }
    }

    fn round(from: usize) -> Afterwards {
        Afterwards::Repeat {
            from,
            gained: [0.0; MAX_COPIES],
        }
    }

    #[test]
    fn a_stage_is_left_out_repeated_and_moved() {
        let written = route(&[1, 2, 3, 4], Afterwards::Hold);
        let after = |edit| dwells(&written.edited(&edit).unwrap());
        assert_eq!(after(Edit::LeaveOut { stage: 1 }), [1, 3, 4]);
        assert_eq!(
            after(Edit::Repeat { stage: 2, times: 3 }),
            [1, 2, 3, 3, 3, 4]
        );
        assert_eq!(after(Edit::Move { from: 0, to: 2 }), [2, 3, 1, 4]);
        assert_eq!(after(Edit::Move { from: 3, to: 1 }), [1, 4, 2, 3]);
        // Its place goes with it, not with the list.
        let moved = written.edited(&Edit::Move { from: 3, to: 0 }).unwrap();
        assert_eq!(moved.stages()[0].ahead[0], 3.0);
    }

    #[test]
    fn a_stage_is_dwelt_in_come_to_and_stood_at_as_it_is_told() {
        let written = route(&[8, 8, 8], Afterwards::Hold);
        let way = Way {
            motion: Motion::BuildUp,
            over: 2,
        };
        let turn = Turn {
            tonic: 9,
            mode: crate::mode::ModeName::Aeolian,
            over: 3,
        };
        let stage = 1;
        let copy = CopyNumber::ALL[4];
        let edits = [
            Edit::Dwell {
                stage,
                dwell: Dwell::UntilCued,
            },
            Edit::Way { stage, way },
            Edit::Ahead {
                stage,
                copy,
                steps: -2.5,
            },
            Edit::Grown {
                stage,
                notes: Some(3),
            },
            Edit::Turn {
                stage,
                turn: Some(turn),
            },
            Edit::Afterwards(Afterwards::Silence),
        ];
        let edited = edits
            .iter()
            .fold(written.clone(), |route, edit| route.edited(edit).unwrap());
        let mut ahead = written.stages()[1].ahead;
        ahead[4] = -2.5;
        let as_told = WrittenStage {
            way,
            dwell: Dwell::UntilCued,
            ahead,
            grown: Some(3),
            turn: Some(turn),
        };
        assert_eq!(edited.stages()[1], as_told);
        assert_eq!(edited.afterwards(), &Afterwards::Silence);
        assert_eq!(edited.stages()[0], written.stages()[0]);
        assert_eq!(edited.stages()[2], written.stages()[2]);
    }

    #[test]
    fn a_round_goes_on_from_the_stage_it_went_on_from() {
        let written = route(&[1, 2, 3, 4], round(2));
        let after = |edit| goes_on_from(&written.edited(&edit).unwrap());
        assert_eq!(after(Edit::LeaveOut { stage: 0 }), 1);
        assert_eq!(after(Edit::LeaveOut { stage: 2 }), 2);
        assert_eq!(after(Edit::LeaveOut { stage: 3 }), 2);
        assert_eq!(after(Edit::Repeat { stage: 0, times: 4 }), 5);
        assert_eq!(after(Edit::Repeat { stage: 2, times: 4 }), 2);
        assert_eq!(after(Edit::Move { from: 2, to: 0 }), 0);
        assert_eq!(after(Edit::Move { from: 0, to: 3 }), 1);
        assert_eq!(after(Edit::Move { from: 3, to: 1 }), 3);
        let last = route(&[1, 2, 3, 4], round(3));
        let without = last.edited(&Edit::LeaveOut { stage: 3 }).unwrap();
        assert_eq!(goes_on_from(&without), 2);
    }

    /// Twelve stages, a step apart, of a phrase of twelve steps: from the last it is one step on to
    /// the first again, and eleven back.
    #[test]
    fn a_round_comes_back_by_the_shortest_way() {
        let written = route(&[8; 12], Afterwards::Hold);
        let Afterwards::Repeat { from, gained } = written.round_from(0, 12.0) else {
            panic!("a round");
        };
        assert_eq!((from, gained[0], gained[1]), (0, 12.0, 0.0));
        // From the last to the ninth it is four steps back.
        let Afterwards::Repeat { gained, .. } = written.round_from(7, 12.0) else {
            panic!("a round");
        };
        assert_eq!(gained[0], 0.0);
    }

    #[test]
    fn what_cannot_be_is_refused_in_words() {
        let written = route(&[8, 8], Afterwards::Hold);
        let refused = |route: &Route, edit| route.edited(&edit).unwrap_err().to_string();
        assert_eq!(
            refused(&Route::generated(), Edit::LeaveOut { stage: 0 }),
            "Nothing is written yet. Write the form out as a list first."
        );
        assert_eq!(
            refused(&written, Edit::LeaveOut { stage: 2 }),
            "There is no stage 3: the route has 2."
        );
        assert_eq!(
            refused(&route(&[8], Afterwards::Hold), Edit::LeaveOut { stage: 0 }),
            "A route needs a stage, and this is its only one. Choose \"As generated\" to go back."
        );
        assert_eq!(
            refused(&written, Edit::Repeat { stage: 0, times: 0 }),
            "Repeated 0 times, a stage would be gone. Leave it out instead."
        );
        assert_eq!(
            refused(
                &written,
                Edit::Repeat {
                    stage: 0,
                    times: 512
                }
            ),
            "A route has at most 512 stages, and this one has 513. Leave some out."
        );
        let dwell = Dwell::Cycles(0);
        assert_eq!(
            refused(&written, Edit::Dwell { stage: 1, dwell }),
            "Stage 2: a dwell takes 1 to 64 cycles, not 0."
        );
        assert!(
            written
                .edited(&Edit::Repeat {
                    stage: 0,
                    times: usize::MAX
                })
                .is_err()
        );
    }

    /// Any gesture, on stages that may or may not be there, with counts that may or may not be.
    fn any_edit() -> impl Strategy<Value = Edit> {
        let stage = || 0..12usize;
        prop_oneof![
            (stage(), 0..70u32).prop_map(|(stage, cycles)| Edit::Dwell {
                stage,
                dwell: Dwell::Cycles(cycles)
            }),
            (stage(), 0..70u32).prop_map(|(stage, over)| Edit::Way {
                stage,
                way: Way {
                    motion: Motion::Jump,
                    over
                }
            }),
            (stage(), 0..MAX_COPIES, any::<f64>()).prop_map(|(stage, copy, steps)| Edit::Ahead {
                stage,
                copy: CopyNumber::ALL[copy],
                steps
            }),
            (stage(), proptest::option::of(any::<u32>()))
                .prop_map(|(stage, notes)| Edit::Grown { stage, notes }),
            stage().prop_map(|stage| Edit::LeaveOut { stage }),
            (stage(), 0..400usize).prop_map(|(stage, times)| Edit::Repeat { stage, times }),
            (stage(), stage()).prop_map(|(from, to)| Edit::Move { from, to }),
            (stage(), any_stage()).prop_map(|(at, stage)| Edit::PutIn { at, stage }),
            stage().prop_map(|from| Edit::Afterwards(round(from))),
        ]
    }

    proptest! {
        /// Whatever is tried, and in whatever order, a route stays one that can be played.
        #[test]
        fn no_gesture_leads_out_of_bounds(
            written in any_route(),
            edits in proptest::collection::vec(any_edit(), 1..30),
        ) {
            let mut route = written;
            for edit in &edits {
                route = route.edited(edit).unwrap_or(route);
                prop_assert!((1..=MAX_STAGES).contains(&route.stages().len()));
                for stage in route.stages() {
                    prop_assert!(CYCLES.contains(&stage.way.over));
                    if let Dwell::Cycles(cycles) = stage.dwell {
                        prop_assert!(CYCLES.contains(&cycles));
                    }
                    prop_assert!(stage.ahead.iter().all(|steps| steps.abs() <= FURTHEST));
                }
                if let Afterwards::Repeat { from, .. } = route.afterwards() {
                    prop_assert!(*from < route.stages().len());
                }
            }
        }

        #[test]
        fn there_and_back_is_as_it_was(written in any_route(), places in any::<[usize; 2]>()) {
            let [from, to] = places.map(|place| place % written.stages().len());
            let there = written.edited(&Edit::Move { from, to }).unwrap();
            prop_assert_eq!(there.edited(&Edit::Move { from: to, to: from }).unwrap(), written);
        }

        #[test]
        fn put_in_and_left_out_again_is_as_it_was(
            written in any_route(),
            place in any::<usize>(),
            stage in any_stage(),
        ) {
            let at = place % (written.stages().len() + 1);
            let longer = written.edited(&Edit::PutIn { at, stage }).unwrap();
            prop_assert_eq!(longer.stages()[at], stage);
            prop_assert_eq!(longer.edited(&Edit::LeaveOut { stage: at }).unwrap(), written);
        }

        /// Unless it is where a round goes on from: then the round goes on from the next.
        #[test]
        fn left_out_and_put_back_the_stages_are_as_they_were(
            written in any_route(),
            place in any::<usize>(),
        ) {
            let stage = place % written.stages().len();
            let taken = written.stages()[stage];
            if written.stages().len() > 1 {
                let shorter = written.edited(&Edit::LeaveOut { stage }).unwrap();
                let put_back = Edit::PutIn { at: stage, stage: taken };
                let whole = shorter.edited(&put_back).unwrap();
                prop_assert_eq!(whole.stages(), written.stages());
                if !matches!(written.afterwards(), Afterwards::Repeat { from, .. } if *from == stage) {
                    prop_assert_eq!(whole, written);
                }
            }
        }

        #[test]
        fn repeated_and_all_but_one_left_out_is_as_it_was(
            written in any_route(),
            place in any::<usize>(),
            times in 1..20usize,
        ) {
            let stage = place % written.stages().len();
            let longer = written.edited(&Edit::Repeat { stage, times }).unwrap();
            let once = (1..times).fold(longer, |route, _| {
                route.edited(&Edit::LeaveOut { stage: stage + 1 }).unwrap()
            });
            prop_assert_eq!(once, written);
        }

        /// One gesture changes what it is about, and nothing else.
        #[test]
        fn a_dwell_leaves_all_others_alone(
            written in any_route(),
            place in any::<usize>(),
            cycles in CYCLES,
        ) {
            let stage = place % written.stages().len();
            let dwell = Dwell::Cycles(cycles);
            let edited = written.edited(&Edit::Dwell { stage, dwell }).unwrap();
            for (index, (before, after)) in
                written.stages().iter().zip(edited.stages()).enumerate()
            {
                let expected = if index == stage {
                    WrittenStage { dwell, ..*before }
                } else {
                    *before
                };
                prop_assert_eq!(*after, expected);
            }
        }
    }
}
