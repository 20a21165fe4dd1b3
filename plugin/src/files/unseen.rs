//! Signs in a name that the eye does not find: invisible ones, and those that turn the direction in
//! which the rest is shown. A name with them looks like another.

use std::fmt::Write;

/// What a screen shows nothing of, or what changes how the rest is shown: Unicode's default
/// ignorable code points (`DerivedCoreProperties.txt`, from memory), the marks of lines and
/// annotations, and every space but the one on the keyboard.
const UNSEEN: [(u32, u32); 24] = [
    (0x00A0, 0x00A0),
    (0x00AD, 0x00AD),
    (0x034F, 0x034F),
    (0x061C, 0x061C),
    (0x115F, 0x1160),
    (0x1680, 0x1680),
    (0x17B4, 0x17B5),
    (0x180B, 0x180F),
    (0x2000, 0x200F),
    (0x2028, 0x202F),
    (0x205F, 0x206F),
    (0x2800, 0x2800),
    (0x3000, 0x3000),
    (0x3164, 0x3164),
    (0xFE00, 0xFE0F),
    (0xFEFF, 0xFEFF),
    (0xFFA0, 0xFFA0),
    (0xFFF0, 0xFFFB),
    (0x1_BCA0, 0x1_BCA3),
    (0x1_D173, 0x1_D17A),
    (0xE_0000, 0xE_0FFF),
    (0x0000, 0x001F),
    (0x007F, 0x009F),
    (0xFFFE, 0xFFFF),
];

/// The text with every such sign written as its number, ‹U+202E›; none if all of it is seen as it
/// is.
pub fn spelt_out(text: &str) -> Option<String> {
    if !text.chars().any(is_unseen) {
        return None;
    }
    let mut spelt = String::with_capacity(2 * text.len());
    for sign in text.chars() {
        if is_unseen(sign) {
            let _ = write!(spelt, "‹U+{:04X}›", u32::from(sign));
        } else {
            spelt.push(sign);
        }
    }
    Some(spelt)
}

fn is_unseen(sign: char) -> bool {
    let number = u32::from(sign);
    let within = |(first, last): &(u32, u32)| (*first..=*last).contains(&number);
    UNSEEN.iter().any(within)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_is_seen_as_it_is_is_left_alone() {
        for name in [
            "Night ferry",
            "Überfahrt, 2",
            "פרק",
            "夜の渡し",
            "D♭ (draft)",
        ] {
            assert_eq!(spelt_out(name), None);
        }
    }

    #[test]
    fn signs_that_turn_the_rest_around_or_show_nothing_are_spelt_out() {
        let turned = "ferry\u{202E}dim.exe";
        assert_eq!(spelt_out(turned).as_deref(), Some("ferry‹U+202E›dim.exe"));
        let joined = "night\u{200B}ferry\u{FEFF}";
        assert_eq!(
            spelt_out(joined).as_deref(),
            Some("night‹U+200B›ferry‹U+FEFF›")
        );
        assert_eq!(spelt_out("a\u{A0}b").as_deref(), Some("a‹U+00A0›b"));
    }

    /// Once spelt out there is nothing more to spell.
    #[test]
    fn what_is_spelt_out_is_seen() {
        for number in (0..=0x10_FFFF).filter_map(char::from_u32) {
            let name = format!("a{number}b");
            if let Some(spelt) = spelt_out(&name) {
                assert_eq!(spelt_out(&spelt), None);
                assert!(spelt.len() > name.len());
            }
        }
    }
}
