//! Where files go: what a typed folder and a typed name mean. Touches no disk.

use super::{FileKind, Trouble};
use procession_core::exchange::put;
use std::path::{Path, PathBuf};

/// The longest name before its ending, in bytes: file systems take 255 for all of it, and a number
/// and the ending of a file that is being written come after.
const LONGEST_NAME: usize = 180;

/// Names that Windows keeps for itself, whatever follows a dot. Source: Microsoft, *Naming Files,
/// Paths, and Namespaces*; from memory.
const KEPT: [&str; 22] = [
    "CON", "PRN", "AUX", "NUL", "COM1", "COM2", "COM3", "COM4", "COM5", "COM6", "COM7", "COM8",
    "COM9", "LPT1", "LPT2", "LPT3", "LPT4", "LPT5", "LPT6", "LPT7", "LPT8", "LPT9",
];

/// The folder in what was typed, or pasted from a file manager: with quotes, as an address, or
/// from the home folder, which `~` stands for.
///
/// # Errors
/// [`Trouble::NoFolder`], [`Trouble::NotWholePath`], [`Trouble::NoHome`].
pub fn folder(typed: &str, home: Option<&Path>) -> Result<PathBuf, Trouble> {
    let typed = typed.trim().trim_matches(['"', '\'']).trim();
    let path = match typed.strip_prefix("file://") {
        Some(address) => from_address(address),
        None => typed.to_owned(),
    };
    if path.is_empty() {
        return Err(Trouble::NoFolder);
    }
    let in_home = match path.strip_prefix('~') {
        Some("") => Some(""),
        Some(rest) => rest.strip_prefix(['/', std::path::MAIN_SEPARATOR]),
        None => None,
    };
    let whole = match in_home {
        Some("") => home.ok_or(Trouble::NoHome)?.to_owned(),
        Some(rest) => home.ok_or(Trouble::NoHome)?.join(rest),
        None => PathBuf::from(&path),
    };
    if whole.is_absolute() {
        Ok(whole)
    } else {
        Err(Trouble::NotWholePath(path))
    }
}

/// Signs of an address that stand for others: "%20" is a space (RFC 3986, 2.1). What stands for
/// none, or gives no text, is left as it is.
pub fn from_address(address: &str) -> String {
    let bytes = address.as_bytes();
    let hex = |at: usize| {
        let digits = address.get(at + 1..at + 3)?;
        u8::from_str_radix(digits, 16).ok()
    };
    let (mut read, mut at) = (Vec::new(), 0);
    while at < bytes.len() {
        match (bytes[at] == b'%').then(|| hex(at)).flatten() {
            Some(sign) => {
                read.push(sign);
                at += 3;
            }
            None => {
                read.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8(read).unwrap_or_else(|_| address.to_owned())
}

/// The name that files get, before their ending; one with an ending loses it.
///
/// # Errors
/// [`Trouble::NoName`], [`Trouble::NameHolds`], [`Trouble::NameIsTaken`], [`put::Trouble::NameTooLong`].
pub fn name(typed: &str) -> Result<String, Trouble> {
    let typed = typed.trim();
    let bare = FileKind::ALL
        .iter()
        .filter_map(|kind| typed.strip_suffix(kind.ending().as_str()))
        .min_by_key(|bare| bare.len())
        .unwrap_or(typed);
    // Systems drop spaces and dots at the end, and hide what begins with a dot.
    let name = bare.trim_matches(['.', ' ']);
    let forbidden = |sign: &char| r#"/\:*?"<>|"#.contains(*sign) || sign.is_control();
    if let Some(sign) = name.chars().find(forbidden) {
        return Err(Trouble::NameHolds(sign));
    }
    if name.is_empty() {
        return Err(Trouble::NoName);
    }
    let before_dot = name.split('.').next().unwrap_or(name).trim();
    if KEPT.contains(&before_dot.to_ascii_uppercase().as_str()) {
        return Err(Trouble::NameIsTaken(name.to_owned()));
    }
    if name.len() > LONGEST_NAME {
        return Err(put::Trouble::NameTooLong.into());
    }
    Ok(name.to_owned())
}

/// Where a file goes.
pub fn path(folder: &Path, name: &str, kind: FileKind) -> PathBuf {
    folder.join(format!("{name}{}", kind.ending()))
}

/// The name with the first number after it under which none of the files is there: all of them get
/// the same, so that they stay together.
pub fn numbered(
    folder: &Path,
    name: &str,
    kinds: &[FileKind],
    is_there: impl Fn(&Path) -> bool,
) -> String {
    let free = |name: &String| {
        let mut paths = kinds.iter().map(|kind| path(folder, name, *kind));
        !paths.any(|path| is_there(&path))
    };
    (2u32..)
        .map(|number| format!("{name} {number}"))
        .find(free)
        .unwrap_or_else(|| name.to_owned())
}

/// Where files go until a folder is chosen: documents if there is a folder for them, else home.
pub fn first(home: Option<&Path>, is_there: impl Fn(&Path) -> bool) -> String {
    let Some(home) = home else {
        return String::new();
    };
    let documents = home.join("Documents");
    let folder = if is_there(&documents) {
        &documents
    } else {
        home
    };
    folder.display().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::exchange::score::Layout;

    #[cfg(unix)]
    #[test]
    fn a_folder_may_be_pasted_with_quotes_as_an_address_or_from_home() {
        let home = Path::new("/home/mate");
        let read = |typed| folder(typed, Some(home)).map(|path| path.display().to_string());
        for (typed, meant) in [
            (" /quay/night ", "/quay/night"),
            ("'/quay/night'", "/quay/night"),
            ("file:///quay/at%20night/%C3%B8", "/quay/at night/ø"),
            ("file:///quay/100%25/%zz", "/quay/100%/%zz"),
            ("~", "/home/mate"),
            ("~/quay", "/home/mate/quay"),
            ("/quay/~", "/quay/~"),
        ] {
            assert_eq!(read(typed).as_deref(), Ok(meant));
        }
    }

    #[test]
    fn a_folder_that_begins_nowhere_is_none() {
        assert_eq!(folder("  ", None), Err(Trouble::NoFolder));
        assert_eq!(folder("\"\"", None), Err(Trouble::NoFolder));
        assert_eq!(folder("~/quay", None), Err(Trouble::NoHome));
        for typed in ["quay", "./quay", "~mate/quay"] {
            let whole = Trouble::NotWholePath(typed.to_owned());
            assert_eq!(folder(typed, None), Err(whole));
        }
    }

    #[test]
    fn a_name_is_taken_as_it_is_but_for_its_ends() {
        for (typed, meant) in [
            ("Night, by four", "Night, by four"),
            ("  Night ", "Night"),
            ("Night.mid", "Night"),
            ("Night, own beat one.musicxml", "Night"),
            ("Take No. 3", "Take No. 3"),
            ("Nacht über See", "Nacht über See"),
            ("Night...", "Night"),
        ] {
            assert_eq!(name(typed).as_deref(), Ok(meant));
        }
    }

    #[test]
    fn a_name_that_no_file_can_have_is_refused() {
        for (typed, trouble) in [
            ("", Trouble::NoName),
            (" .. ", Trouble::NoName),
            (".mid", Trouble::NoName),
            ("night/crossing", Trouble::NameHolds('/')),
            ("../night", Trouble::NameHolds('/')),
            (r"night\crossing", Trouble::NameHolds('\\')),
            ("night: crossing", Trouble::NameHolds(':')),
            ("night\ncrossing", Trouble::NameHolds('\n')),
            ("con", Trouble::NameIsTaken("con".to_owned())),
            ("Aux.one", Trouble::NameIsTaken("Aux.one".to_owned())),
        ] {
            assert_eq!(name(typed), Err(trouble));
        }
        assert_eq!(name(&"ø".repeat(91)), Err(put::Trouble::NameTooLong.into()));
    }

    #[test]
    fn each_kind_has_a_file_of_its_own() {
        let mut endings: Vec<_> = FileKind::ALL.iter().map(|kind| kind.ending()).collect();
        endings.sort_unstable();
        endings.dedup();
        assert_eq!(endings.len(), FileKind::ALL.len());
    }

    #[test]
    fn files_that_are_kept_give_all_new_ones_the_same_number() {
        let quay = Path::new("/quay");
        let there = ["/quay/night.mid", "/quay/night 2.json"];
        let is_there = |path: &Path| there.iter().any(|there| Path::new(there) == path);
        let kinds = [FileKind::Midi, FileKind::PlanJson];
        assert_eq!(numbered(quay, "night", &kinds, is_there), "night 3");
        assert_eq!(numbered(quay, "night", &kinds[..1], is_there), "night 2");
    }

    #[test]
    fn documents_are_the_first_place_if_there_is_one() {
        let home = Path::new("/home/mate");
        let documents = home.join("Documents").display().to_string();
        assert_eq!(first(Some(home), |_| true), documents);
        assert_eq!(first(Some(home), |_| false), home.display().to_string());
        assert_eq!(first(None, |_| true), "");
    }

    #[test]
    fn a_score_of_either_layout_says_which() {
        let own = path(
            Path::new("/quay"),
            "night",
            FileKind::Score(Layout::OwnBeatOne),
        );
        assert!(own.ends_with("night, own beat one.musicxml"));
    }
}
