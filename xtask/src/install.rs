//! `install`: the bundles into the user's plug-in folders.

use crate::bundle::{self, Build, Format};
use crate::notices;
use anyhow::{Context, Result};
use lexopt::Parser;
use std::env::consts::OS;
use std::fs;
use std::path::{Path, PathBuf};

/// What `install` does.
pub const HELP: &str = "\
cargo xtask install

Builds Procession as CLAP and VST3 and copies both into your own plug-in folders, which takes no
rights of an administrator. A former version there is replaced, and what was done is said. Beside
each goes a text, Procession notices.txt, that names what in it others wrote. Have your host scan its
plug-ins afterwards.

  Linux    ~/.clap and ~/.vst3
  macOS    ~/Library/Audio/Plug-Ins/CLAP and .../VST3 (untried)
  Windows  %LOCALAPPDATA%\\Programs\\Common\\CLAP and ...\\VST3 (untried)
";

/// `install`
pub fn run(arguments: Parser) -> Result<()> {
    crate::no_more(arguments)?;
    let bundles = bundle::make(Build::Release)?;
    for (format, bundle) in Format::ALL.into_iter().zip(bundles) {
        let folder = plugin_folder(format, OS, |name| std::env::var_os(name).map(PathBuf::from))?;
        let installed = place(&bundle, &folder)?;
        println!("{}", installed.display());
        place(&bundle.with_file_name(notices::NAME), &folder)?;
    }
    println!("Have your host scan its plug-ins again.");
    Ok(())
}

/// The user's own folder for a format: no rights of an administrator are needed.
fn plugin_folder(
    format: Format,
    os: &str,
    variable: impl Fn(&str) -> Option<PathBuf>,
) -> Result<PathBuf> {
    let base = match os {
        "windows" => "LOCALAPPDATA",
        _ => "HOME",
    };
    let base = variable(base)
        .filter(|path| !path.as_os_str().is_empty())
        .with_context(|| {
            format!("the variable {base} is not set, so there is no telling where your plug-ins go: set it to your own folder")
        })?;
    let folder = match (os, format) {
        ("windows", Format::Clap) => "Programs/Common/CLAP",
        ("windows", Format::Vst3) => "Programs/Common/VST3",
        ("macos", Format::Clap) => "Library/Audio/Plug-Ins/CLAP",
        ("macos", Format::Vst3) => "Library/Audio/Plug-Ins/VST3",
        (_, Format::Clap) => ".clap",
        (_, Format::Vst3) => ".vst3",
    };
    Ok(base.join(folder))
}

/// Copies `bundle` into `folder`, beside what is there, and changes the two over at the end: a
/// host that scans meanwhile, or a full disk, never finds half a plug-in.
fn place(bundle: &Path, folder: &Path) -> Result<PathBuf> {
    fs::create_dir_all(folder).with_context(|| {
        format!(
            "the folder {} cannot be made: check that you may write there",
            folder.display()
        )
    })?;
    let name = bundle
        .file_name()
        .with_context(|| format!("{} is not a bundle", bundle.display()))?;
    let beside = |mark: &str| folder.join(format!(".{}.{mark}", name.to_string_lossy()));
    let (fresh, old, installed) = (beside("new"), beside("old"), folder.join(name));
    bundle::remove(&fresh)?;
    bundle::remove(&old)?;
    copy(bundle, &fresh)
        .inspect_err(|_| drop(bundle::remove(&fresh)))
        .with_context(|| {
            format!(
                "nothing was changed in {}: check that you may write there and that the disk is not full",
                folder.display()
            )
        })?;
    let was_there = installed.symlink_metadata().is_ok();
    if was_there {
        fs::rename(&installed, &old).with_context(|| {
            format!(
                "{} cannot be replaced: close the hosts that have it open",
                installed.display()
            )
        })?;
    }
    if let Err(error) = fs::rename(&fresh, &installed) {
        if was_there {
            fs::rename(&old, &installed)
                .with_context(|| format!("the former plug-in is now {}", old.display()))?;
        }
        return Err(error).with_context(|| format!("{} cannot be written", installed.display()));
    }
    bundle::remove(&old)?;
    Ok(installed)
}

/// Copies a file, or a folder with all that is in it.
fn copy(from: &Path, to: &Path) -> Result<()> {
    if !from.is_dir() {
        fs::copy(from, to).with_context(|| format!("{} cannot be written", to.display()))?;
        return Ok(());
    }
    fs::create_dir(to).with_context(|| format!("{} cannot be made", to.display()))?;
    for entry in fs::read_dir(from).with_context(|| format!("{} cannot be read", from.display()))? {
        let entry = entry?;
        copy(&entry.path(), &to.join(entry.file_name()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn empty_folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("procession-{name}-{}", std::process::id()));
        bundle::remove(&folder).unwrap();
        fs::create_dir_all(&folder).unwrap();
        folder
    }

    #[test]
    fn an_installed_bundle_replaces_the_former_one_whole() {
        let folder = empty_folder("install");
        let bundle = folder.join("built/Procession.vst3");
        fs::create_dir_all(bundle.join("Contents")).unwrap();
        fs::write(bundle.join("Contents/new"), "new").unwrap();
        let former = folder.join("plug-ins/Procession.vst3");
        fs::create_dir_all(&former).unwrap();
        fs::write(former.join("former"), "old").unwrap();

        let installed = place(&bundle, &folder.join("plug-ins")).unwrap();

        assert_eq!(installed, former);
        assert_eq!(
            fs::read_to_string(installed.join("Contents/new")).unwrap(),
            "new"
        );
        assert!(!installed.join("former").exists());
        let left = fs::read_dir(folder.join("plug-ins")).unwrap().count();
        assert_eq!(left, 1, "nothing is left beside it");
        bundle::remove(&folder).unwrap();
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let folder = empty_folder("blocked");
        fs::write(folder.join("file"), "").unwrap();
        let bundle = folder.join("Procession.clap");
        fs::write(&bundle, "").unwrap();
        let error = place(&bundle, &folder.join("file/plug-ins")).unwrap_err();
        assert!(
            error.to_string().contains("file/plug-ins cannot be made"),
            "{error}"
        );
        bundle::remove(&folder).unwrap();
    }

    #[test]
    fn without_a_home_nobody_guesses() {
        let error = plugin_folder(Format::Clap, "linux", |_| None).unwrap_err();
        assert!(error.to_string().contains("HOME is not set"), "{error}");
        let home = |name: &str| (name == "HOME").then(|| PathBuf::from("/home/ada"));
        let folder = plugin_folder(Format::Vst3, "macos", home).unwrap();
        assert_eq!(folder, Path::new("/home/ada/Library/Audio/Plug-Ins/VST3"));
    }
}
