//! Writing a file so that nothing is lost: beside its place, to the disk, then renamed.
//!
//! Until it is whole, a file has the ending `.part` and a name that nobody has. Whatever goes
//! wrong, that is taken away; a file that was there stays as it was up to the moment at which the
//! new one takes its place. Only a program that is killed, or a machine that stops, leaves its
//! `.part`, and nothing under the file's own name.

mod trouble;

pub use trouble::Trouble;

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::{Builder, NamedTempFile, PathPersistError, TempPath};

/// Whether a file that is there gives way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Existing {
    /// It stays, and that is a [`Trouble::CameBetween`].
    Keep,
    /// The new one takes its place. A link there is replaced, not followed.
    Replace,
}

/// Makes a file that must not be there.
pub type Create = fn(&Path) -> io::Result<File>;

/// Makes it on the disk.
///
/// # Errors
/// What the system says; also if anything has that name, be it a link that leads nowhere.
pub fn create(path: &Path) -> io::Result<File> {
    // Read, too: a sound file is measured while it is written and then made louder where it stands.
    let mut options = File::options();
    options.read(true).write(true).create_new(true).open(path)
}

/// Writes a file whose content `fill` writes.
///
/// # Errors
/// What `fill` says, or [`Trouble::of`] what the system says. Then there is no new file, and no
/// part of one.
pub fn put(
    path: &Path,
    existing: Existing,
    create: Create,
    fill: impl FnOnce(&mut File) -> Result<(), Trouble>,
) -> Result<(), Trouble> {
    let mut part = Part::beside(path, create)?;
    fill(part.file())?;
    part.finish(existing)
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

/// A file that is not whole yet. It is taken away when this is dropped, unless it was finished.
#[derive(Debug)]
pub struct Part {
    path: PathBuf,
    file: NamedTempFile<File>,
}

impl Part {
    /// Begins the file that is to be at `path`, beside it, under a name that nobody has.
    ///
    /// # Errors
    /// [`Trouble::FileIsFolder`], or what the system says.
    pub fn beside(path: &Path, create: Create) -> Result<Self, Trouble> {
        // Renamed onto a folder, a file may take its place on some systems, if the folder is empty.
        if path.is_dir() {
            return Err(Trouble::FileIsFolder(path.to_owned()));
        }
        let mut name = OsString::from(path.file_name().unwrap_or_default());
        name.push(".");
        let file = Builder::new()
            .prefix(&name)
            .suffix(".part")
            .make_in(path.parent().unwrap_or(Path::new("")), create)
            .map_err(|error| Trouble::of(&error, path))?;
        Ok(Self {
            path: path.to_owned(),
            file,
        })
    }

    /// Where its content goes.
    pub fn file(&mut self) -> &mut File {
        self.file.as_file_mut()
    }

    /// Gives it its name, now that it is whole.
    ///
    /// # Errors
    /// What the system says.
    pub fn finish(self, existing: Existing) -> Result<(), Trouble> {
        let Self { path, file } = self;
        // Before the name: else a crash could leave the name with nothing behind it.
        let named = file.as_file().sync_all().and_then(|()| {
            let part = file.into_temp_path();
            match existing {
                Existing::Replace => part.persist(&path).map_err(io::Error::from),
                Existing::Keep => rename_onto_nothing(part, &path, &RENAMES),
            }
        });
        named.map_err(|error| Trouble::of(&error, &path))?;
        remember_name(&path);
        Ok(())
    }
}

type Rename = fn(TempPath, &Path) -> Result<(), PathPersistError>;

/// The ways in which a file gets another name.
struct Renames {
    /// In one step, and never onto another file. Some file systems know no such step.
    exclusive: Rename,
    /// In one step.
    plain: Rename,
}

const RENAMES: Renames = Renames {
    exclusive: |part, path| part.persist_noclobber(path),
    plain: |part, path| part.persist(path),
};

/// A rename that never replaces what is there.
///
/// Some file systems know neither that nor second names (FAT through FUSE, say). There it is looked
/// whether the name is free, and then renamed: a file that somebody else makes under that very name
/// between the two, some microseconds, would be replaced. To keep the place with an empty file would
/// shut that gap, but leave the empty file if the program is killed just then.
fn rename_onto_nothing(part: TempPath, path: &Path, renames: &Renames) -> io::Result<()> {
    let refused = match (renames.exclusive)(part, path) {
        Ok(()) => return Ok(()),
        Err(refused) => refused,
    };
    // Also a link that leads nowhere is something.
    if fs::symlink_metadata(path).is_ok() {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    (renames.plain)(refused.path, path).map_err(io::Error::from)
}

/// The folder's list of names to the disk, too, where that can be asked for. The file is whole
/// either way.
fn remember_name(path: &Path) {
    if let Some(folder) = path.parent().and_then(|folder| File::open(folder).ok()) {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder that is gone when the test is.
    struct Quay(PathBuf);

    impl Quay {
        fn new(name: &str) -> Self {
            let own = format!("procession-{name}-{}", std::process::id());
            let folder = std::env::temp_dir().join(own);
            let _ = fs::remove_dir_all(&folder);
            fs::create_dir_all(&folder).unwrap();
            Self(folder)
        }

        fn names(&self) -> Vec<String> {
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
        put(&path, Existing::Keep, create, lantern).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn what_is_there_stays_unless_it_is_to_give_way() {
        let quay = Quay::new("there");
        let path = quay.0.join("night.mid");
        fs::write(&path, "older").unwrap();
        let refused = put(&path, Existing::Keep, create, lantern);
        assert_eq!(refused, Err(Trouble::CameBetween(path.clone())));
        assert_eq!(fs::read(&path).unwrap(), b"older");
        assert_eq!(quay.names(), ["night.mid"]);
        put(&path, Existing::Replace, create, lantern).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn somebody_elses_part_is_left_alone() {
        let quay = Quay::new("part");
        fs::write(quay.0.join("night.mid.part"), "theirs").unwrap();
        put(&quay.0.join("night.mid"), Existing::Keep, create, lantern).unwrap();
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
        let stopped = put(&path, Existing::Replace, create, |file| {
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
        let refused = put(&path, Existing::Keep, full, fill);
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
            let refused = put(&path, Existing::Keep, refuse, lantern);
            assert_eq!(refused, Err(Trouble::Forbidden(quay.0.clone())));
        }
        assert!(quay.names().is_empty());
    }

    /// Not even the administrator may write in /sys.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_of_the_system_itself_refuses() {
        let sys = Path::new("/sys");
        let refused = put(&sys.join("night.mid"), Existing::Keep, create, lantern);
        assert_eq!(refused, Err(Trouble::Forbidden(sys.to_owned())));
    }

    #[test]
    fn a_folder_in_the_place_of_a_file_is_said() {
        let quay = Quay::new("folder");
        let path = quay.0.join("night.mid");
        fs::create_dir(&path).unwrap();
        for existing in [Existing::Keep, Existing::Replace] {
            let refused = put(&path, existing, create, lantern);
            assert_eq!(refused, Err(Trouble::FileIsFolder(path.clone())));
        }
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_and_a_missing_folder_are_said() {
        let quay = Quay::new("gone");
        fs::write(quay.0.join("pier"), "a file").unwrap();
        let on_file = quay.0.join("pier/night.mid");
        let refused = put(&on_file, Existing::Keep, create, lantern);
        assert_eq!(refused, Err(Trouble::FolderIsFile(quay.0.join("pier"))));
        let nowhere = quay.0.join("nowhere/night.mid");
        let refused = put(&nowhere, Existing::Keep, create, lantern);
        assert_eq!(refused, Err(Trouble::FolderGone(quay.0.join("nowhere"))));
    }

    /// A disk that knows neither second names nor a rename that replaces nothing.
    fn unsupported(part: TempPath, _: &Path) -> Result<(), PathPersistError> {
        let error = io::ErrorKind::Unsupported.into();
        Err(PathPersistError { error, path: part })
    }

    fn on_a_plain_disk(path: &Path, plain: Rename) -> io::Result<()> {
        let mut part = Part::beside(path, create).unwrap();
        part.file().write_all(b"lantern").unwrap();
        let renames = Renames {
            exclusive: unsupported,
            plain,
        };
        rename_onto_nothing(part.file.into_temp_path(), path, &renames)
    }

    #[test]
    fn a_plain_disk_takes_a_whole_file_and_keeps_what_is_there() {
        let quay = Quay::new("plain");
        let path = quay.0.join("night.mid");
        on_a_plain_disk(&path, RENAMES.plain).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
        fs::write(&path, "older").unwrap();
        let refused = on_a_plain_disk(&path, RENAMES.plain).unwrap_err();
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"older");
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn killed_before_it_has_its_name_a_file_is_not_there_even_on_a_plain_disk() {
        let quay = Quay::new("killed");
        let path = quay.0.join("night.mid");
        let killed = std::panic::catch_unwind(|| on_a_plain_disk(&path, |_, _| panic!("killed")));
        assert!(killed.is_err());
        assert!(!path.exists());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_neither_followed_nor_replaced_unasked() {
        let quay = Quay::new("link");
        let (path, elsewhere) = (quay.0.join("night.mid"), quay.0.join("diary"));
        fs::write(&elsewhere, "mine").unwrap();
        std::os::unix::fs::symlink(&elsewhere, &path).unwrap();
        let refused = put(&path, Existing::Keep, create, lantern);
        assert_eq!(refused, Err(Trouble::CameBetween(path.clone())));
        put(&path, Existing::Replace, create, lantern).unwrap();
        assert_eq!(fs::read(&elsewhere).unwrap(), b"mine");
        assert_eq!(fs::read(&path).unwrap(), b"lantern");
    }
}
