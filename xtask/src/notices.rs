//! What is in the plug-in that others wrote, and on what terms: told beside every bundle and, out
//! of the same file, in the window; and checked against the terms that are accepted here.

use crate::workspace;
use anyhow::{Context, Result, ensure};
use serde_json::Value;
use spdx::{Expression, LicenseReq, ParseMode};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The name of the file, beside the bundles.
pub const NAME: &str = "Procession notices.txt";

/// What tells the build of the plug-in (`plugin/build.rs`) where the file is.
pub const VARIABLE: &str = "PROCESSION_NOTICES";

/// Terms under which a part may go into the plug-in: those that ask for a notice and no more, the
/// typefaces' own, and one that asks for the part's own source, unchanged here and public.
const ACCEPTED: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "BSD-1-Clause",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MPL-2.0",
    "OFL-1.1",
    "Ubuntu-font-1.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// What the files of terms are called, from the beginning of their names.
const FILES: [&str; 8] = [
    "LICENSE",
    "LICENCE",
    "COPYING",
    "COPYRIGHT",
    "NOTICE",
    "UNLICENSE",
    "OFL",
    "UFL",
];

/// A part that somebody else wrote.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Part {
    name: String,
    version: String,
    /// As an SPDX expression; nothing if it says none.
    terms: String,
    from: String,
    by: String,
    folder: PathBuf,
}

/// Writes the text into that folder: where it lies.
pub fn put(folder: &Path) -> Result<PathBuf> {
    let path = folder.join(NAME);
    write_changed(&path, &text()?)
        .with_context(|| format!("the notices cannot be written to {}", path.display()))?;
    Ok(path)
}

/// Leaves a file alone that says the same: cargo would take it for another, and build again.
fn write_changed(path: &Path, text: &str) -> io::Result<()> {
    if fs::read_to_string(path).is_ok_and(|there| there == text) {
        return Ok(());
    }
    fs::create_dir_all(path.parent().unwrap_or(Path::new("")))?;
    fs::write(path, text)
}

/// The whole text: every part with its terms, then the texts, each once.
fn text() -> Result<String> {
    let parts = shipped(&metadata()?)?;
    let mut told = String::from(
        "Procession is made with the parts below, which others wrote, each on its own terms. They\n\
         stand here as their authors ask. Procession's own: MIT or Apache-2.0, at your choice.\n\n",
    );
    let mut texts: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for part in &parts {
        let Part {
            name,
            version,
            terms,
            from,
            by,
            ..
        } = part;
        let _ = writeln!(told, "{name} {version}: {terms}");
        for line in [by, from].into_iter().filter(|line| !line.is_empty()) {
            let _ = writeln!(told, "    {line}");
        }
        for text in part.texts()? {
            texts.entry(text).or_default().push(name.clone());
        }
    }
    for (text, names) in texts {
        let rule = "-".repeat(80);
        let _ = write!(
            told,
            "\n{rule}\n{}\n{rule}\n\n{}\n",
            names.join(", "),
            text.trim_end()
        );
    }
    Ok(told)
}

impl Part {
    fn expression(&self) -> Result<Expression> {
        let Self {
            name,
            version,
            terms,
            ..
        } = self;
        Expression::parse_mode(terms, ParseMode::LAX)
            .with_context(|| format!("{name} {version} says of its terms \"{terms}\""))
    }

    /// What its files say; if it comes without any, the standard text of the terms it may be used
    /// on.
    fn texts(&self) -> Result<BTreeSet<String>> {
        let mut texts = BTreeSet::new();
        for folder in [self.folder.clone(), self.folder.join("fonts")] {
            for path in terms_in(&folder) {
                let bytes = fs::read(&path).with_context(|| path.display().to_string())?;
                texts.insert(String::from_utf8_lossy(&bytes).replace("\r\n", "\n"));
            }
        }
        if texts.is_empty() {
            let standard = |requirement: &spdx::expression::ExpressionReq| {
                let id = requirement
                    .req
                    .license
                    .id()
                    .filter(|_| accepts(&requirement.req))?;
                Some(id.text().to_owned())
            };
            texts.extend(self.expression()?.requirements().filter_map(standard));
        }
        let Self { name, version, .. } = self;
        ensure!(!texts.is_empty(), "{name} {version} comes without terms");
        Ok(texts)
    }
}

fn terms_in(folder: &Path) -> Vec<PathBuf> {
    let is_terms = |path: &PathBuf| {
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .to_uppercase();
        path.is_file()
            && (FILES.iter().any(|start| name.starts_with(start)) || name.contains("LICENSE"))
    };
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.path()).filter(is_terms).collect()
}

fn accepts(requirement: &LicenseReq) -> bool {
    let id = requirement.license.id();
    id.is_some_and(|id| ACCEPTED.contains(&id.name))
}

/// What cargo knows of the workspace as it is built on this system, from what it has at hand; on a
/// fresh machine it has to fetch first what the plug-in is made with.
fn metadata() -> Result<Value> {
    let here = format!("--filter-platform={}", workspace::platform()?);
    let ask = ["metadata", "--format-version=1", "--locked", &here];
    let told = workspace::ask_cargo(&[&ask[..], &["--offline"]].concat())
        .or_else(|_| workspace::ask_cargo(&ask))?;
    serde_json::from_slice(&told).context("cargo tells of the workspace what is no JSON")
}

/// Everything of others' that goes into the plug-in. What only helps the compiler does not.
fn shipped(metadata: &Value) -> Result<BTreeSet<Part>> {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let by_id = |values: Vec<Value>| -> BTreeMap<String, Value> {
        let id = |value: &Value| value["id"].as_str().unwrap_or_default().to_owned();
        values
            .into_iter()
            .map(|value| (id(&value), value))
            .collect()
    };
    let packages = by_id(list(&metadata["packages"]));
    let nodes = by_id(list(&metadata["resolve"]["nodes"]));
    let is_ours = |package: &Value| package["source"].is_null();
    let first = packages
        .iter()
        .find(|(_, package)| is_ours(package) && package["name"] == "procession");
    let (first, _) = first.context("cargo tells nothing of the plug-in")?;
    let (mut seen, mut ahead) = (BTreeSet::new(), vec![first.clone()]);
    while let Some(id) = ahead.pop() {
        let helps = list(&packages[&id]["targets"])
            .iter()
            .any(|target| list(&target["kind"]).contains(&"proc-macro".into()));
        if helps || !seen.insert(id.clone()) {
            continue;
        }
        for dependency in list(&nodes[&id]["deps"]) {
            let ships = list(&dependency["dep_kinds"])
                .iter()
                .any(|kind| kind["kind"].is_null());
            ahead.extend(
                dependency["pkg"]
                    .as_str()
                    .filter(|_| ships)
                    .map(str::to_owned),
            );
        }
    }
    let parts = seen
        .iter()
        .map(|id| &packages[id])
        .filter(|package| !is_ours(package));
    Ok(parts.map(part).collect())
}

fn part(package: &Value) -> Part {
    let word = |field: &str| package[field].as_str().unwrap_or_default().to_owned();
    let by = package["authors"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str);
    let manifest = PathBuf::from(word("manifest_path"));
    Part {
        name: word("name"),
        version: word("version"),
        terms: word("license"),
        from: word("repository"),
        by: by.collect::<Vec<_>>().join(", "),
        folder: manifest.parent().unwrap_or(Path::new("")).to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_may_be_used_on_terms_that_are_accepted() {
        for part in shipped(&metadata().unwrap()).unwrap() {
            let expression = part.expression().unwrap();
            assert!(
                expression.evaluate(accepts),
                "{} {} is {}: leave it out, or accept that in notices.rs",
                part.name,
                part.version,
                part.terms
            );
        }
    }

    #[test]
    fn every_part_is_named_with_its_terms_and_none_of_our_own() {
        let parts = shipped(&metadata().unwrap()).unwrap();
        let names: BTreeSet<&str> = parts.iter().map(|part| part.name.as_str()).collect();
        for name in ["nice-plug", "egui", "midly", "epaint_default_fonts"] {
            assert!(names.contains(name), "{name}");
        }
        // Ours; a macro, which only helps the compiler; for tests only.
        for name in ["procession-core", "serde_derive", "proptest"] {
            assert!(!names.contains(name), "{name}");
        }
        let told = text().unwrap();
        for part in &parts {
            let line = format!("\n{} {}: {}\n", part.name, part.version, part.terms);
            assert!(told.contains(&line), "{line}");
        }
        for words in [
            "SIL OPEN FONT LICENSE",
            "UBUNTU FONT LICENCE",
            "Mozilla Public License",
        ] {
            assert!(told.contains(words), "{words}");
        }
    }

    #[test]
    fn terms_that_ask_for_more_than_is_accepted_are_refused() {
        let may = |terms: &str| {
            Expression::parse_mode(terms, ParseMode::LAX)
                .unwrap()
                .evaluate(accepts)
        };
        assert!(may("MIT/Apache-2.0") && may("GPL-2.0-only OR Apache-2.0"));
        assert!(!may("GPL-3.0-only") && !may("MIT AND AGPL-3.0-only"));
    }

    #[test]
    fn a_text_that_says_the_same_is_left_alone() {
        let folder =
            std::env::temp_dir().join(format!("procession-notices-{}", std::process::id()));
        let path = folder.join("a folder that is not there yet").join(NAME);
        write_changed(&path, "the ferry").unwrap();
        let long_ago = std::time::UNIX_EPOCH + std::time::Duration::from_secs(1000);
        let file = fs::File::options().write(true).open(&path).unwrap();
        file.set_modified(long_ago).unwrap();
        let touched = || fs::metadata(&path).unwrap().modified().unwrap() != long_ago;
        write_changed(&path, "the ferry").unwrap();
        assert!(!touched());
        write_changed(&path, "the night ferry").unwrap();
        assert!(touched());
        assert_eq!(fs::read_to_string(&path).unwrap(), "the night ferry");
        fs::remove_dir_all(folder).unwrap();
    }
}
