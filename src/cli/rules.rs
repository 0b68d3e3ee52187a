//! Which chart belongs to which photo, for folders with several tests.

use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::files::{self, load_chart, shown};
use crate::chart::Chart;
use crate::error::{Error, Result};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Rule {
    /// Pattern on the file name.
    r#match: String,
    /// Chart file, relative to the rule file.
    chart: PathBuf,
}

/// The charts of a batch.
pub(super) struct Charts {
    rules: Vec<(glob::Pattern, PathBuf, Chart)>,
    otherwise: Option<Chart>,
}

impl Charts {
    /// The rules of a file, if one is given, and the chart for photos that no rule fits.
    pub(super) fn load(rules: Option<&Path>, otherwise: Option<Chart>) -> Result<Charts> {
        let Some(path) = rules else {
            return Ok(Charts {
                rules: Vec::new(),
                otherwise,
            });
        };
        let wrong = |what: String| {
            Error::new(
                what,
                "write rules as [{\"match\": \"no3-*\", \"chart\": \"nitrate.json\"}]",
            )
            .about(shown(path))
        };
        let given: Vec<Rule> = serde_json::from_str(&files::text(path)?)
            .map_err(|e| wrong(format!("this is not a rule file: {e}")))?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let rules = given
            .into_iter()
            .map(|rule| {
                let pattern = glob::Pattern::new(&rule.r#match).map_err(|e| {
                    wrong(format!(
                        "the pattern \"{}\" is not understood: {}",
                        rule.r#match, e.msg
                    ))
                })?;
                let file = folder.join(rule.chart);
                let chart = load_chart(&file)?;
                Ok((pattern, file, chart))
            })
            .collect::<Result<_>>()?;
        Ok(Charts { rules, otherwise })
    }

    /// The chart of a photo.
    ///
    /// # Errors
    /// If no rule fits and there is no chart for the rest.
    pub(super) fn of(&self, photo: &Path) -> Result<&Chart> {
        let name = photo.file_name().unwrap_or_default().to_string_lossy();
        let ruled = self
            .rules
            .iter()
            .find(|(pattern, ..)| pattern.matches(&name))
            .map(|(_, _, chart)| chart);
        ruled.or(self.otherwise.as_ref()).ok_or_else(|| {
            Error::new(
                "no rule gives this photo a chart",
                "add a rule that fits its name, or give --chart for the rest",
            )
        })
    }

    /// Whether the charts are of more than one test.
    pub(super) fn several_tests(&self) -> bool {
        let mut tests = self
            .rules
            .iter()
            .map(|r| &r.2)
            .chain(&self.otherwise)
            .map(|c| &c.terms.test);
        let first = tests.next();
        tests.any(|t| Some(t) != first)
    }

    /// Chart files named by rules.
    pub(super) fn files(&self) -> impl Iterator<Item = &PathBuf> {
        self.rules.iter().map(|r| &r.1)
    }
}
