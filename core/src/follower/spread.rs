//! A middle and a spread that a few wrong values do not move.

/// Widths of a bell curve from the middle beyond which a value is none of it: in a thousand that
/// are, one in fifteen times.
const FAR: f64 = 4.0;

/// What differs by less, in milliseconds, is never put aside: hosts cut time no finer.
const FINEST_MS: f64 = 2.0;

/// Mean and standard deviation of `values`, in milliseconds, those put aside that are far from the
/// rest. Sorts them. None if there are none.
///
/// How far is judged by the quarters, which a few wrong ones do not move: the middle half of a bell
/// curve is 1.349 standard deviations wide. What is left is averaged plainly, since the mean is the
/// surer the more it rests on.
pub(super) fn mean_and_spread(values: &mut [f64]) -> Option<(f64, f64)> {
    values.sort_unstable_by(f64::total_cmp);
    let middle = median_of_sorted(values)?;
    let quarter = values.len() / 4;
    let width = (values[values.len() - 1 - quarter] - values[quarter]) / 1.349;
    let far = FAR * width.max(FINEST_MS);
    let kept = || values.iter().filter(|value| (*value - middle).abs() <= far);
    let count = kept().count() as f64;
    let mean = kept().sum::<f64>() / count;
    let squares: f64 = kept().map(|value| (value - mean).powi(2)).sum();
    Some((mean, (squares / (count - 1.0).max(1.0)).sqrt()))
}

/// The middle one. Sorts them.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    median_of_sorted(values)
}

fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let above = *sorted.get(sorted.len() / 2)?;
    let below = *sorted.get((sorted.len() - 1) / 2)?;
    Some((above + below) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // 1, 3, 5, 7: mean 4, squares 9 + 1 + 1 + 9, a third of 20.
        let (mean, spread) = mean_and_spread(&mut [7.0, 1.0, 5.0, 3.0]).unwrap();
        assert!((mean - 4.0).abs() < 1e-12);
        assert!((spread - (20.0f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!(median(&mut [7.0, 1.0, 5.0, 3.0]), Some(4.0));
        assert_eq!(median(&mut [2.0, 9.0, 1.0]), Some(2.0));
        assert_eq!(mean_and_spread(&mut []), None);
        assert_eq!(mean_and_spread(&mut [15.0]), Some((15.0, 0.0)));
    }

    #[test]
    fn a_few_that_are_far_off_are_put_aside() {
        let mut values: Vec<f64> = (0..40).map(|k| 15.0 + f64::from(k % 5 - 2)).collect();
        values.extend([130.0, -120.0, 90.0]);
        let (mean, spread) = mean_and_spread(&mut values).unwrap();
        assert!((mean - 15.0).abs() < 1e-9 && (spread - 2f64.sqrt()).abs() < 0.05);
    }
}
