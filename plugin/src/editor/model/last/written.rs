//! A written form that is to last so long: its dwells grow or shrink together, each by its share.

use procession_core::route::{CYCLES, Dwell, Route, RouteError, WrittenStage};

/// The route with `more` cycles of dwelling in all (fewer, if negative), as near to that as its
/// counted stages can come; and how many came of it. None if every stage waits for a cue.
pub fn stretched(route: &Route, more: i64) -> Option<Result<(Route, i64), RouteError>> {
    let mut stages = route.stages().to_vec();
    let counted = |stage: &WrittenStage| match stage.dwell {
        Dwell::Cycles(cycles) => Some(i64::from(cycles)),
        Dwell::UntilCued => None,
    };
    let now: i64 = stages.iter().filter_map(counted).sum();
    let count = stages.iter().filter_map(counted).count() as i64;
    if count == 0 {
        return None;
    }
    let (least, most) = (i64::from(*CYCLES.start()), i64::from(*CYCLES.end()));
    let wanted = (now + more).clamp(count * least, count * most);
    let share = wanted as f64 / now as f64;
    let ideal: Vec<f64> = stages
        .iter()
        .map(|stage| counted(stage).map_or(f64::NAN, |cycles| cycles as f64 * share))
        .collect();
    let mut cycles: Vec<i64> = ideal
        .iter()
        .map(|ideal| (ideal.floor() as i64).clamp(least, most))
        .collect();
    // What rounding has left over goes to those that are farthest from their share.
    let places: Vec<usize> = (0..stages.len())
        .filter(|place| !ideal[*place].is_nan())
        .collect();
    loop {
        let sum: i64 = places.iter().map(|place| cycles[*place]).sum();
        let lacks = |place: &usize| ideal[*place] - cycles[*place] as f64;
        let by = |one: &&usize, other: &&usize| lacks(one).total_cmp(&lacks(other));
        let next = if sum < wanted {
            let room = places.iter().filter(|place| cycles[**place] < most);
            room.max_by(by).map(|place| (*place, 1))
        } else if sum > wanted {
            let room = places.iter().filter(|place| cycles[**place] > least);
            room.min_by(by).map(|place| (*place, -1))
        } else {
            None
        };
        let Some((place, one)) = next else { break };
        cycles[place] += one;
    }
    for place in places {
        stages[place].dwell = Dwell::Cycles(cycles[place] as u32);
    }
    Some(Route::new(&stages, *route.afterwards()).map(|route| (route, wanted - now)))
}

/// The shortest and the longest counted dwell.
pub fn dwells(route: &Route) -> Option<(u32, u32)> {
    let counted = route.stages().iter().filter_map(|stage| match stage.dwell {
        Dwell::Cycles(cycles) => Some(cycles),
        Dwell::UntilCued => None,
    });
    Some((counted.clone().min()?, counted.max()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::part::MAX_COPIES;
    use procession_core::route::{Afterwards, Way};
    use procession_core::settings::Motion;
    use proptest::prelude::*;

    fn route(dwells: &[u32]) -> Route {
        let stage = |cycles: &u32| WrittenStage {
            way: Way {
                motion: Motion::Drift,
                over: 4,
            },
            dwell: match cycles {
                0 => Dwell::UntilCued,
                cycles => Dwell::Cycles(*cycles),
            },
            ahead: [0.0; MAX_COPIES],
            grown: None,
            turn: None,
        };
        let stages: Vec<_> = dwells.iter().map(stage).collect();
        Route::new(&stages, Afterwards::Hold).unwrap_or_default()
    }

    fn told(route: &Route) -> Vec<u32> {
        let told = |stage: &WrittenStage| match stage.dwell {
            Dwell::Cycles(cycles) => cycles,
            Dwell::UntilCued => 0,
        };
        route.stages().iter().map(told).collect()
    }

    #[test]
    fn all_dwells_take_their_share() {
        let made = |dwells: &[u32], more| {
            stretched(&route(dwells), more).map(|made| made.map(|made| (told(&made.0), made.1)))
        };
        assert_eq!(made(&[4, 8, 12], 12), Some(Ok((vec![6, 12, 18], 12))));
        assert_eq!(made(&[4, 0, 8], -6), Some(Ok((vec![2, 0, 4], -6))));
        assert_eq!(made(&[4, 4], -99), Some(Ok((vec![1, 1], -6))), "no shorter");
        assert_eq!(
            made(&[60, 4], 200),
            Some(Ok((vec![64, 64], 64))),
            "no longer"
        );
        assert_eq!(made(&[0, 0], 4), None);
    }

    proptest! {
        #[test]
        fn what_is_wished_for_comes_of_it_to_the_cycle(
            dwells in proptest::collection::vec(1..=64u32, 1..30),
            more in -800..2000i64,
        ) {
            let before = route(&dwells);
            let (after, came) = stretched(&before, more).expect("some are counted").expect("a route");
            let sum = |route: &Route| told(route).iter().map(|cycles| i64::from(*cycles)).sum::<i64>();
            let count = dwells.len() as i64;
            prop_assert_eq!(sum(&after) - sum(&before), came);
            let can_be = (count..=64 * count).contains(&(sum(&before) + more));
            prop_assert_eq!(can_be, came == more);
        }
    }
}
