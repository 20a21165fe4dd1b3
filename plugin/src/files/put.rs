//! Writing a file so that nothing is lost: beside its place, to the disk, then renamed.
//!
//! Until it is whole, a file has the ending `.part`. Whatever goes wrong, that is taken away; a
//! file that was there stays as it was up to the moment at which the new one takes its place.

use super::Trouble;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Whether a file that is there gives way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// It stays, and that is a [`Trouble::CameBetween`].
    Nothing,
    /// The new one takes its place.
    What,
}

/// Makes a file that must not be there.
pub type Create = fn(&Path) -> io::Result<File>;

/// Makes it on the disk.
pub fn create(path: &Path) -> io::Result<File> {
    File::options().write(true).create_new(true).open(path)
}

/// Writes a file whose content `fill` writes.
///
/// # Errors
/// What `fill` says, or [`Trouble::of`] what the system says. Then there is no new file, and no
/// part of one.
pub fn put(
    path: &Path,
    over: Over,
    create: Create,
    fill: impl FnOnce(&mut File) -> Result<(), Trouble>,
) -> Result<(), Trouble> {
    let trouble = |error: io::Error| Trouble::of(&error, path);
    // Renamed onto a folder, a file may take its place on some systems, if the folder is empty.
    if path.is_dir() {
        return Err(Trouble::FileIsFolder(path.to_owned()));
    }
    let (part, mut file) = Part::beside(path, create).map_err(trouble)?;
    fill(&mut file)?;
    // Before the name: else a crash could leave the name with nothing behind it.
    file.sync_all().map_err(trouble)?;
    drop(file);
    match over {
        Over::What => part.rename(path),
        Over::Nothing => part.rename_onto_nothing(path),
    }
    .map_err(trouble)?;
    remember_name(path);
    Ok(())
}

/// Writes bytes; `stop` is asked now and then.
///
/// # Errors
/// [`Trouble::Stopped`], or what the system says.
pub fn bytes(
    file: &mut impl Write,
    bytes: &[u8],
    path: &Path,
    stop: impl Fn() -> bool,
) -> Result<(), Trouble> {
    for chunk in bytes.chunks(1 << 16) {
        if stop() {
            return Err(Trouble::Stopped);
        }
        file.write_all(chunk)
            .map_err(|error| Trouble::of(&error, path))?;
    }
    Ok(())
}

/// A file that is not whole yet. It is taken away when this is dropped, unless it has got its name.
struct Part(PathBuf);

impl Part {
    /// Under a name that nobody has.
    fn beside(path: &Path, create: Create) -> io::Result<(Self, File)> {
        let mut tries = 1;
        loop {
            let mut name = path.file_name().unwrap_or_default().to_owned();
            name.push(match tries {
                1 => ".part".to_owned(),
                _ => format!(".{tries}.part"),
            });
            let part = path.with_file_name(name);
            match create(&part) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists && tries < 100 => {
                    tries += 1;
                }
                made => return Ok((Self(part), made?)),
            }
        }
    }

    fn rename(self, path: &Path) -> io::Result<()> {
        fs::rename(&self.0, path)?;
        // Whatever has its name from now on is not ours.
        std::mem::forget(self);
        Ok(())
    }

    /// A rename that never replaces. Renaming alone does, so the file gets a second name, which
    /// fails if somebody has it, and then loses its first. Where the file system knows no second
    /// names, an empty file keeps the place for the moment of the renaming.
    fn rename_onto_nothing(self, path: &Path) -> io::Result<()> {
        match fs::hard_link(&self.0, path) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => {
                create(path)?;
                self.rename(path).inspect_err(|_| {
                    let _ = fs::remove_file(path);
                })
            }
            linked => linked,
        }
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
}

/// The folder's list of names to the disk, too, where that can be asked for. The file is whole
/// either way.
fn remember_name(path: &Path) {
    if let Some(folder) = path.parent().and_then(|folder| File::open(folder).ok()) {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A folder that is gone when the test is.
    pub struct Quay(pub PathBuf);

    impl Quay {
        pub fn new(name: &str) -> Self {
            let own = format!("procession-{name}-{}", std::process::id());
            let folder = std::env::temp_dir().join(own);
            let _ = fs::remove_dir_all(&folder);
            fs::create_dir_all(&folder).unwrap();
            Self(folder)
        }

        pub fn names(&self) -> Vec<String> {
            let entries = fs::read_dir(&self.0).unwrap();
            let mut names: Vec<_> = entries
                .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
                .collect();
            names.sort();
            names
        }
    }

    impl Drop for Quay {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn lantern(file: &mut File) -> Result<(), Trouble> {
        bytes(file, b"lantern", Path::new(""), || false)
    }

    #[test]
    fn a_file_is_whole_and_nothing_stands_beside_it() {
        let quay = Quay::new("whole");
        let path = quay.0.join("night.mid");
        put(&path, Over::Nothing, create, lantern).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn what_is_there_stays_unless_it_is_to_give_way() {
        let quay = Quay::new("there");
        let path = quay.0.join("night.mid");
        fs::write(&path, "older").unwrap();
        let refused = put(&path, Over::Nothing, create, lantern);
        assert_eq!(refused, Err(Trouble::CameBetween(path.clone())));
        assert_eq!(fs::read(&path).unwrap(), b"older");
        assert_eq!(quay.names(), ["night.mid"]);
        put(&path, Over::What, create, lantern).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn somebody_elses_part_is_left_alone() {
        let quay = Quay::new("part");
        fs::write(quay.0.join("night.mid.part"), "theirs").unwrap();
        put(&quay.0.join("night.mid"), Over::Nothing, create, lantern).unwrap();
        assert_eq!(quay.names(), ["night.mid", "night.mid.part"]);
        let part = fs::read(quay.0.join("night.mid.part")).unwrap();
        assert_eq!(part, b"theirs");
    }

    #[test]
    fn what_is_stopped_half_way_leaves_no_part_and_what_was_there() {
        let quay = Quay::new("stopped");
        let path = quay.0.join("night.mid");
        fs::write(&path, "older").unwrap();
        let long = vec![b'x'; 1 << 20];
        let asked = std::cell::Cell::new(0);
        let third_time = || {
            asked.set(asked.get() + 1);
            asked.get() > 3
        };
        let stopped = put(&path, Over::What, create, |file| {
            let stopped = bytes(file, &long, Path::new(""), third_time);
            assert_eq!(file.metadata().unwrap().len(), 3 << 16);
            stopped
        });
        assert_eq!(stopped, Err(Trouble::Stopped));
        assert_eq!(fs::read(&path).unwrap(), b"older");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    /// The system's own full disk: a device that takes nothing.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_disk_is_said_and_leaves_nothing() {
        let quay = Quay::new("full");
        let path = quay.0.join("night.mid");
        let full = |path: &Path| {
            create(path)?;
            File::options().write(true).open("/dev/full")
        };
        let fill = |file: &mut File| bytes(file, b"lantern", &path, || false);
        let refused = put(&path, Over::Nothing, full, fill);
        assert_eq!(refused, Err(Trouble::Full(quay.0.clone())));
        assert!(quay.names().is_empty());
    }

    #[test]
    fn a_folder_that_may_not_be_written_in_is_said() {
        let quay = Quay::new("forbidden");
        let path = quay.0.join("night.mid");
        for kind in [
            io::ErrorKind::PermissionDenied,
            io::ErrorKind::ReadOnlyFilesystem,
        ] {
            let refuse: Create = match kind {
                io::ErrorKind::PermissionDenied => |_| Err(io::ErrorKind::PermissionDenied.into()),
                _ => |_| Err(io::ErrorKind::ReadOnlyFilesystem.into()),
            };
            let refused = put(&path, Over::Nothing, refuse, lantern);
            assert_eq!(refused, Err(Trouble::Forbidden(quay.0.clone())));
        }
        assert!(quay.names().is_empty());
    }

    /// Not even the administrator may write in /sys.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_of_the_system_itself_refuses() {
        let sys = Path::new("/sys");
        let refused = put(&sys.join("night.mid"), Over::Nothing, create, lantern);
        assert_eq!(refused, Err(Trouble::Forbidden(sys.to_owned())));
    }

    #[test]
    fn a_folder_in_the_place_of_a_file_is_said() {
        let quay = Quay::new("folder");
        let path = quay.0.join("night.mid");
        fs::create_dir(&path).unwrap();
        for over in [Over::Nothing, Over::What] {
            let refused = put(&path, over, create, lantern);
            assert_eq!(refused, Err(Trouble::FileIsFolder(path.clone())));
        }
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_and_a_missing_folder_are_said() {
        let quay = Quay::new("gone");
        fs::write(quay.0.join("pier"), "a file").unwrap();
        let on_file = quay.0.join("pier/night.mid");
        let refused = put(&on_file, Over::Nothing, create, lantern);
        assert_eq!(refused, Err(Trouble::FolderIsFile(quay.0.join("pier"))));
        let nowhere = quay.0.join("nowhere/night.mid");
        let refused = put(&nowhere, Over::Nothing, create, lantern);
        assert_eq!(refused, Err(Trouble::FolderGone(quay.0.join("nowhere"))));
    }
}
