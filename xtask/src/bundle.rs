//! `bundle`: the built library laid out the way each plug-in format wants it.

use crate::{notices, workspace};
use anyhow::{Context, Result, bail};
use lexopt::{Arg, Parser};
use std::env::consts::{ARCH, DLL_PREFIX, DLL_SUFFIX, OS};
use std::fs;
use std::path::{Path, PathBuf};

/// What `bundle` does and understands.
pub const HELP: &str = "\
cargo xtask bundle [--debug]

Builds Procession as CLAP and VST3 for this system, and says where the two bundles lie: in the
target folder, under bundled. Beside them lie the notices of what is in them that others wrote;
their window shows the same, under Files, About Procession.
Nothing is installed; that is cargo xtask install.

  --debug  build quickly, with checks that no allocation happens while audio runs, into
           bundled-debug; for testing, not for playing
";

/// What the user reads in a folder.
const NAME: &str = "Procession";

/// For the property lists of macOS. No domain: somebody may own it.
const IDENTIFIER: &str = "ProcessionPhases";

/// A plug-in format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// CLAP.
    Clap,
    /// VST3.
    Vst3,
}

impl Format {
    /// All that are built.
    pub const ALL: [Self; 2] = [Self::Clap, Self::Vst3];

    /// The name of the bundle.
    pub fn bundle_name(self) -> String {
        format!("{NAME}.{}", self.extension())
    }

    fn extension(self) -> &'static str {
        match self {
            Self::Clap => "clap",
            Self::Vst3 => "vst3",
        }
    }

    /// What a host looks for in the library.
    fn symbol(self) -> &'static str {
        match self {
            Self::Clap => "clap_entry",
            Self::Vst3 => "GetPluginFactory",
        }
    }
}

/// How the plug-in is built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Build {
    /// Fast and small, into `bundled/`.
    Release,
    /// Guarded against allocation in `process`, into `bundled-debug/`: the tests must not
    /// replace what the user is about to install.
    Debug,
}

impl Build {
    /// The folder that cargo builds into, and the one that the bundles go to.
    fn folders(self) -> (&'static str, &'static str) {
        match self {
            Self::Release => ("release", "bundled"),
            Self::Debug => ("debug", "bundled-debug"),
        }
    }
}

/// `bundle [--debug]`
pub fn run(mut arguments: Parser) -> Result<()> {
    let mut build = Build::Release;
    while let Some(argument) = arguments.next()? {
        match argument {
            Arg::Long("debug") => build = Build::Debug,
            other => return Err(other.unexpected().into()),
        }
    }
    for bundle in make(build)? {
        println!("{}", bundle.display());
    }
    Ok(())
}

/// Builds and lays out: where the bundles are, in the order of [`Format::ALL`]. Beside those that
/// are for playing, and in them, the notices.
pub fn make(build: Build) -> Result<Vec<PathBuf>> {
    // Not in the other: `cargo test` would take it for another plug-in than its own.
    let notices = match build {
        Build::Release => Some(notices::put(&folder(build)?)?),
        Build::Debug => None,
    };
    let library = library(build, notices.as_deref())?;
    Format::ALL
        .iter()
        .map(|format| lay_out(*format, &library, &folder(build)?))
        .collect()
}

/// Builds and lays out the CLAP bundle alone, for the commands that load it themselves: where it is.
/// It is the one that [`make`] would build; if the notices cannot be had it does without, for
/// nobody is given it.
pub fn make_clap(build: Build) -> Result<PathBuf> {
    let folder = folder(build)?;
    let notices = match build {
        Build::Release => notices::put(&folder).ok(),
        Build::Debug => None,
    };
    let library = library(build, notices.as_deref())?;
    lay_out(Format::Clap, &library, &folder)
}

fn folder(build: Build) -> Result<PathBuf> {
    Ok(workspace::target()?.join(build.folders().1))
}

/// Builds the plug-in, with these notices in it: where the library is.
fn library(build: Build, notices: Option<&Path>) -> Result<PathBuf> {
    let arguments = match build {
        Build::Release => ["build", "--package=procession", "--lib", "--release"].as_slice(),
        // With one test beside it, the smallest: what the plug-in and the tests are both made with
        // is then built as the tests want it, not once for each.
        Build::Debug => &["build", "--workspace", "--lib", "--test=layers"],
    };
    let told = notices.map(|path| (notices::VARIABLE, path.as_os_str().to_owned()));
    workspace::cargo(arguments, told.as_slice())?;
    let library = format!("{DLL_PREFIX}procession{DLL_SUFFIX}");
    let library = workspace::target()?.join(build.folders().0).join(library);
    if let Some(notices) = notices {
        check_notices(&library, notices)?;
    }
    Ok(library)
}

/// What the window shows has to be what lies beside it.
fn check_notices(library: &Path, notices: &Path) -> Result<()> {
    let read =
        |path: &Path| fs::read(path).with_context(|| format!("{} cannot be read", path.display()));
    if !holds(&read(library)?, &read(notices)?) {
        bail!(
            "{} does not hold the text of {}: see plugin/build.rs",
            library.display(),
            notices.display(),
        );
    }
    Ok(())
}

fn holds(bytes: &[u8], piece: &[u8]) -> bool {
    bytes.windows(piece.len()).any(|window| window == piece)
}

fn lay_out(format: Format, library: &Path, folder: &Path) -> Result<PathBuf> {
    check_export(format, library)?;
    let bundle = folder.join(format.bundle_name());
    remove(&bundle)?;
    for (path, piece) in pieces(format, OS, ARCH) {
        let path = folder.join(path);
        let parent = path.parent().unwrap_or(folder);
        fs::create_dir_all(parent)
            .with_context(|| format!("the folder {} cannot be made", parent.display()))?;
        match piece {
            Piece::Library => fs::copy(library, &path).map(drop),
            Piece::Text(text) => fs::write(&path, text),
        }
        .with_context(|| format!("{} cannot be written", path.display()))?;
    }
    Ok(bundle)
}

/// Looks for the name of the exported symbol: a library without it loads nowhere.
fn check_export(format: Format, library: &Path) -> Result<()> {
    let bytes =
        fs::read(library).with_context(|| format!("{} cannot be read", library.display()))?;
    if !holds(&bytes, format.symbol().as_bytes()) {
        bail!(
            "{} exports no {}, so it is no {format:?} plug-in: see the exports in plugin/src/lib.rs",
            library.display(),
            format.symbol(),
        );
    }
    Ok(())
}

/// Removes a file or a folder, if it is there.
pub fn remove(path: &Path) -> Result<()> {
    let done = match path.symlink_metadata() {
        Err(_) => return Ok(()),
        Ok(found) if found.is_dir() => fs::remove_dir_all(path),
        Ok(_) => fs::remove_file(path),
    };
    done.with_context(|| format!("{} cannot be removed", path.display()))
}

#[derive(Debug, PartialEq)]
enum Piece {
    Library,
    Text(String),
}

/// The files of a bundle, by system. VST3 and macOS bundles are folders, a CLAP plug-in is a
/// plain file elsewhere. Sources: the CLAP header `entry.h` and the VST3 documentation, "Plug-in
/// Format Structure"; both from memory.
fn pieces(format: Format, os: &str, arch: &str) -> Vec<(PathBuf, Piece)> {
    let bundle = PathBuf::from(format.bundle_name());
    let contents = bundle.join("Contents");
    match (os, format) {
        ("macos", _) => vec![
            (contents.join("MacOS").join(NAME), Piece::Library),
            (contents.join("PkgInfo"), Piece::Text("BNDL????".to_owned())),
            (
                contents.join("Info.plist"),
                Piece::Text(property_list(format)),
            ),
        ],
        (_, Format::Clap) => vec![(bundle, Piece::Library)],
        ("windows", Format::Vst3) => {
            let folder = match arch {
                "aarch64" => "arm64-win".to_owned(),
                "x86" => "x86-win".to_owned(),
                other => format!("{other}-win"),
            };
            let name = format!("{NAME}.vst3");
            vec![(contents.join(folder).join(name), Piece::Library)]
        }
        (_, Format::Vst3) => {
            let folder = match arch {
                "x86" => "i386-linux".to_owned(),
                other => format!("{other}-linux"),
            };
            let name = format!("{NAME}.so");
            vec![(contents.join(folder).join(name), Piece::Library)]
        }
    }
}

fn property_list(format: Format) -> String {
    let entries = [
        ("CFBundleExecutable", NAME.to_owned()),
        (
            "CFBundleIdentifier",
            format!("{IDENTIFIER}.{}", format.extension()),
        ),
        ("CFBundleInfoDictionaryVersion", "6.0".to_owned()),
        ("CFBundleName", NAME.to_owned()),
        ("CFBundlePackageType", "BNDL".to_owned()),
        ("CFBundleSignature", "????".to_owned()),
        (
            "CFBundleShortVersionString",
            env!("CARGO_PKG_VERSION").to_owned(),
        ),
        ("CFBundleVersion", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let lines: String = entries
        .iter()
        .map(|(key, value)| format!("  <key>{key}</key><string>{value}</string>\n"))
        .collect();
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE plist PUBLIC \"-//Apple//DTD PLIST 1.0//EN\" \"http://www.apple.com/DTDs/PropertyList-1.0.dtd\">\n\
         <plist version=\"1.0\">\n<dict>\n{lines}</dict>\n</plist>\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paths(format: Format, os: &str, arch: &str) -> Vec<String> {
        pieces(format, os, arch)
            .into_iter()
            .map(|(path, _)| path.to_string_lossy().replace('\\', "/"))
            .collect()
    }

    #[test]
    fn each_system_has_its_layout() {
        assert_eq!(paths(Format::Clap, "linux", "x86_64"), ["Procession.clap"]);
        assert_eq!(
            paths(Format::Clap, "windows", "x86_64"),
            ["Procession.clap"]
        );
        assert_eq!(
            paths(Format::Vst3, "linux", "x86_64"),
            ["Procession.vst3/Contents/x86_64-linux/Procession.so"]
        );
        assert_eq!(
            paths(Format::Vst3, "windows", "aarch64"),
            ["Procession.vst3/Contents/arm64-win/Procession.vst3"]
        );
        assert_eq!(
            paths(Format::Clap, "macos", "aarch64"),
            [
                "Procession.clap/Contents/MacOS/Procession",
                "Procession.clap/Contents/PkgInfo",
                "Procession.clap/Contents/Info.plist"
            ]
        );
    }
}
