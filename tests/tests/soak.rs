//! The soak for some minutes; `cargo xtask soak` does it for ten hours.

mod common;

use common::plugin;
use procession_tests::host::Error;
use procession_tests::soak::soak;

#[test]
fn minutes_of_everything_at_once_leave_no_note_hanging_and_are_the_same_twice() -> Result<(), Error>
{
    let [first, second] = [(); 2].map(|()| soak(plugin, 240.0, |_| {}));
    let (first, second) = (first?, second?);
    assert_eq!(first, second);
    assert!(first.notes > 1_000 && first.stocktakings == 1, "{first:?}");
    Ok(())
}
