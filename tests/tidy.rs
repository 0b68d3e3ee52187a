//! Rules of the project that a program can check. A failure names the file and the rule.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files under `folder` of the project, none if it does not exist; hidden ones are left out.
fn files_in(folder: &str) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else {
            continue;
        };
        for entry in entries {
            let path = entry.expect("a readable folder").path();
            if path
                .file_name()
                .is_some_and(|n| n.to_string_lossy().starts_with('.'))
            {
                continue;
            }
            if path.is_dir() {
                folders.push(path)
            } else {
                files.push(path)
            }
        }
    }
    files.sort();
    files
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Path as a reader of the project knows it.
fn short(path: &Path) -> String {
    path.strip_prefix(root())
        .unwrap_or(path)
        .to_string_lossy()
        .replace('\\', "/")
}

fn none(rule: &str, found: Vec<String>) {
    assert!(found.is_empty(), "{rule}:\n  {}", found.join("\n  "));
}

/// What stands between backticks in `text`.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

#[test]
fn every_module_says_what_it_is_for() {
    let modules = files_in("src");
    assert!(!modules.is_empty());
    let silent = modules
        .iter()
        .filter(|p| p.extension().is_some_and(|e| e == "rs") && !read(p).starts_with("//! "));
    none(
        "a module begins with its head comment (//!)",
        silent.map(|p| short(p)).collect(),
    );
}

#[test]
fn no_module_hides_a_second_idea() {
    let long = files_in("src").into_iter().filter_map(|p| {
        let lines = fs::read(&p)
            .expect("a readable file")
            .iter()
            .filter(|b| **b == b'\n')
            .count();
        (p.extension().is_some_and(|e| e == "rs") && lines > 600)
            .then(|| format!("{}: {lines} lines", short(&p)))
    });
    none(
        "no source file is longer than 600 lines: split it",
        long.collect(),
    );
}

#[test]
fn the_top_level_stays_small() {
    const KNOWN: [&str; 14] = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "src",
        "tests",
        "fixtures",
        "calibration",
        "benches",
        "fuzz",
        ".ci",
        ".gitignore",
    ];
    let ignored = read(&root().join(".gitignore"));
    let strange = fs::read_dir(root())
        .expect("the project")
        .filter_map(|entry| {
            let name = entry
                .expect("a readable folder")
                .file_name()
                .to_string_lossy()
                .into_owned();
            let ours = name == ".git" || KNOWN.contains(&name.as_str());
            (!ours && !ignored.lines().any(|line| line.trim_matches('/') == name)).then_some(name)
        });
    none(
        "not a name for the top level; move it into a folder",
        strange.collect(),
    );
}

/// Files named in backticks, from the top level or from `src/`. A name with a placeholder is no file.
#[test]
fn developers_names_only_what_exists() {
    let guide = root().join("DEVELOPERS.md");
    if !guide.exists() {
        return;
    }
    let text = read(&guide);
    // Blocks are commands and drawings; their fences would shift the count of backticks.
    let prose: String = text.split("```").step_by(2).collect();
    let missing = quoted(&prose)
        .filter(|name| !name.contains(|c: char| c.is_whitespace() || "<>{}*:$|".contains(c)))
        .filter(|name| {
            let first = name.split('/').next().unwrap_or_default();
            let in_folder = name.contains('/')
                && (root().join(first).exists() || root().join("src").join(first).exists());
            in_folder
                || [".rs", ".md", ".toml"]
                    .iter()
                    .any(|ending| name.ends_with(ending))
        })
        .filter(|name| {
            !["", "src"]
                .iter()
                .any(|base| root().join(base).join(name).exists())
        });
    none(
        "DEVELOPERS.md names a file that does not exist",
        missing.map(str::to_owned).collect(),
    );
}

/// Each file is named in backticks (a pattern such as `week/*.jpg` names many) on a line that also says where it is from, in the
/// README.md of its folder or of one above it.
#[test]
fn every_data_file_has_an_origin() {
    let mut nameless = Vec::new();
    for top in ["calibration", "fixtures"] {
        for file in files_in(top)
            .iter()
            .filter(|f| f.file_name().is_some_and(|n| n != "README.md"))
        {
            let folders = file.ancestors().skip(1).take_while(|a| *a != root());
            let named = folders
                .filter(|a| a.join("README.md").exists())
                .any(|folder| {
                    let inside = file.strip_prefix(folder).expect("an ancestor");
                    read(&folder.join("README.md"))
                        .lines()
                        .any(|line| says_origin(line, inside))
                });
            if !named {
                nameless.push(short(file));
            }
        }
    }
    none(
        "a data file is named, with its origin, in a README.md beside or above it",
        nameless,
    );
}

fn says_origin(line: &str, file: &Path) -> bool {
    let named = quoted(line).any(|name| {
        // A `*` stays within a folder.
        let options = glob::MatchOptions {
            require_literal_separator: true,
            ..Default::default()
        };
        glob::Pattern::new(name).is_ok_and(|pattern| pattern.matches_path_with(file, options))
    });
    let words = line
        .split('`')
        .step_by(2)
        .flat_map(str::split_whitespace)
        .filter(|w| w.contains(char::is_alphabetic));
    named && words.count() >= 2
}

#[test]
fn nothing_points_to_one_machine() {
    // Put together here so that this file does not hold them itself.
    let forbidden = [
        ["/wo", "rk/"].concat(),
        ["/ho", "me/"].concat(),
        ["/ro", "ot/"].concat(),
        ["/Us", "ers/"].concat(),
        ["C:", "\\"].concat(),
        ["crates", ".io"].concat(),
        ["py", "pi."].concat(),
        ["np", "mjs"].concat(),
    ];
    let top = ["Cargo.toml", "README.md", "DEVELOPERS.md"].map(|name| root().join(name));
    let folders = ["src", "tests", "benches", "fuzz", "fixtures", "calibration"]
        .into_iter()
        .flat_map(files_in);
    let ci = fs::read_dir(root().join(".ci"))
        .into_iter()
        .flatten()
        .filter_map(|e| Some(e.ok()?.path()));
    let mut found = Vec::new();
    for file in top.into_iter().chain(folders).chain(ci) {
        // Pictures are not text and are passed over.
        let Ok(text) = fs::read_to_string(&file) else {
            continue;
        };
        for (number, line) in text.lines().enumerate() {
            if let Some(word) = forbidden.iter().find(|word| line.contains(word.as_str())) {
                found.push(format!("{}:{}: {word}", short(&file), number + 1));
            }
        }
    }
    none(
        "paths of one machine and registry hosts do not belong here",
        found,
    );
}

/// What is built is what was looked at: every dependency comes from a registry, with a checksum.
#[test]
fn dependencies_have_checksums() {
    let lock = std::fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let others: Vec<String> = lock
        .split("[[package]]")
        .skip(1)
        .filter(|p| !p.contains("name = \"tintwell\""))
        .filter(|p| !p.contains("\nsource = \"registry+") || !p.contains("\nchecksum = \""))
        .map(|p| p.lines().nth(1).unwrap_or_default().to_owned())
        .collect();
    none("a dependency without registry or checksum", others);
}

#[test]
fn only_permissive_licences() {
    let mut packages = 0;
    let mut others = Vec::new();
    for package in metadata()["packages"].as_array().expect("packages") {
        packages += 1;
        let licence = package["license"].as_str().unwrap_or("none stated");
        if !permissive(licence) {
            others.push(format!(
                "{} {}: {licence}",
                package["name"], package["version"]
            ));
        }
    }
    assert!(packages > 1, "cargo names the dependencies");
    none("a dependency without a permissive licence", others);
}

/// Dependencies for this machine, as fetched for this very test.
fn metadata() -> serde_json::Value {
    let rustc = Command::new("rustc")
        .arg("-vV")
        .output()
        .expect("rustc runs");
    let version = String::from_utf8(rustc.stdout).expect("rustc writes text");
    let host = version
        .lines()
        .find_map(|line| line.strip_prefix("host: "))
        .expect("rustc names its host");
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--offline",
            "--locked",
            "--format-version",
            "1",
            "--filter-platform",
            host,
        ])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("cargo writes JSON")
}

/// Whether an SPDX expression lets one choose only from [`PERMISSIVE`]. The old way of writing OR as a slash counts too.
fn permissive(expression: &str) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ")
        .replace(" WITH ", "+");
    let mut tokens = spaced.split_whitespace().peekable();
    either(&mut tokens) && tokens.next().is_none()
}

/// Unicode-3.0 covers tables of the Unicode Consortium and asks for no more than MIT does.
const PERMISSIVE: [&str; 13] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0+LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "0BSD",
    "ISC",
    "Zlib",
    "Unlicense",
    "OFL-1.1",
    "CC0-1.0",
    "Unicode-3.0",
];

type Tokens<'a> = std::iter::Peekable<std::str::SplitWhitespace<'a>>;

fn either(tokens: &mut Tokens) -> bool {
    let mut holds = both(tokens);
    while tokens.next_if_eq(&"OR").is_some() {
        holds |= both(tokens);
    }
    holds
}

fn both(tokens: &mut Tokens) -> bool {
    let mut holds = one(tokens);
    while tokens.next_if_eq(&"AND").is_some() {
        holds &= one(tokens);
    }
    holds
}

fn one(tokens: &mut Tokens) -> bool {
    match tokens.next() {
        Some("(") => either(tokens) & tokens.next_if_eq(&")").is_some(),
        Some(name) => PERMISSIVE.contains(&name),
        None => false,
    }
}

#[test]
fn licence_expressions_are_understood() {
    for good in [
        "MIT",
        "MIT/Apache-2.0",
        "(MIT OR GPL-3.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
    ] {
        assert!(permissive(good), "{good}");
    }
    for bad in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "none stated",
        "(MIT OR Apache-2.0) AND MPL-2.0",
        "(MIT",
        "",
    ] {
        assert!(!permissive(bad), "{bad}");
    }
}

#[test]
fn every_flag_is_told_in_the_readme() {
    let readme = read(&root().join("README.md"));
    let mut codes = Vec::new();
    let code = files_in("src").into_iter();
    for path in code.filter(|p| p.extension().is_some_and(|e| e == "rs")) {
        let text = read(&path);
        for call in text.split("Flag::new(").skip(1) {
            if let Some(code) = call
                .trim_start()
                .strip_prefix('"')
                .and_then(|c| c.split('"').next())
            {
                codes.push(code.to_owned());
            }
        }
    }
    assert!(codes.len() > 30, "{codes:?}");
    codes.retain(|c| !readme.contains(&format!("`{c}`")));
    none("every flag stands in the table of the README", codes);
}
