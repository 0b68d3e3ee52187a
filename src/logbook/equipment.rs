//! Equipment that has met copper or another medicine, and where it must not go.
//!
//! Copper that treats fish parasites is lethal to most invertebrates (Yanong, *Use of Copper in Marine Aquaculture and Aquarium
//! Systems*, University of Florida IFAS FA165), and media, rock, sand and filter material that were exposed to it hold it and give
//! it off later, so that they must not be moved to a system with invertebrates (common practice). Whether a thing holds copper
//! cannot be seen: all equipment that was in a dosed water counts.

use std::collections::BTreeMap;

use serde::Serialize;

use super::write::folded;
use super::{Entry, Event, Field, Kind, Logbook, Moment};
use crate::error::Result;

/// When and where equipment met a medicine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Met {
    /// The water in which it was.
    pub water: String,
    /// What had been put into it.
    pub substance: String,
    /// When the medicine was dosed.
    pub at: Moment,
}

/// A time during which equipment was in a water.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stay {
    pub water: String,
    /// When it was put in; `None` if only its leaving was logged.
    pub from: Option<Moment>,
    /// When it was taken out; `None` if it is there still.
    pub to: Option<Moment>,
}

/// Where equipment has been, in the order of time; also in waters that were left out of the logbook since.
///
/// # Errors
/// If the logbook cannot be read.
pub fn stays(logbook: &Logbook, equipment: &str) -> Result<Vec<Stay>> {
    let waters = past(logbook, equipment, None)?;
    let mut all: Vec<Stay> = waters
        .values()
        .flat_map(|events| stays_in(events, equipment))
        .collect();
    all.sort_by_key(|s: &Stay| s.from.as_ref().or(s.to.as_ref()).map(Moment::seconds));
    Ok(all)
}

/// Medicines and the moves of equipment by the number of the water, each in the order of time, without one event.
fn past(
    logbook: &Logbook,
    equipment: &str,
    without: Option<Entry>,
) -> Result<BTreeMap<i64, Vec<Event>>> {
    let mut waters: BTreeMap<i64, Vec<Event>> = BTreeMap::new();
    for (water, entry, event) in logbook.past(equipment)? {
        if Some(entry) != without {
            waters.entry(water).or_default().push(event);
        }
    }
    Ok(waters)
}

/// The stays in one water by its events, which are in the order of time.
fn stays_in(events: &[Event], equipment: &str) -> Vec<Stay> {
    let mut stays: Vec<Stay> = Vec::new();
    for e in events {
        if !is_of(e, equipment) {
            continue;
        }
        let open = stays.last_mut().filter(|s| s.to.is_none());
        match (e.kind, open) {
            (Kind::EquipmentIn, None) => stays.push(Stay {
                water: e.water.clone(),
                from: Some(e.at.clone()),
                to: None,
            }),
            (Kind::EquipmentOut, Some(open)) => open.to = Some(e.at.clone()),
            (Kind::EquipmentOut, None) => stays.push(Stay {
                water: e.water.clone(),
                from: None,
                to: Some(e.at.clone()),
            }),
            _ => {}
        }
    }
    stays
}

fn is_of(event: &Event, equipment: &str) -> bool {
    let name = event.equipment.as_deref();
    name.is_some_and(|n| folded(n) == folded(equipment))
}

/// Which medicines equipment met: those dosed before it left a water, also before it came, since what is left in a water
/// cannot be known. Waters that were left out of the logbook count as well.
///
/// # Errors
/// If the logbook cannot be read.
pub fn met(logbook: &Logbook, equipment: &str) -> Result<Vec<Met>> {
    met_without(logbook, equipment, None)
}

fn met_without(logbook: &Logbook, equipment: &str, without: Option<Entry>) -> Result<Vec<Met>> {
    let mut all = Vec::new();
    for events in past(logbook, equipment, without)?.values() {
        let stays = stays_in(events, equipment);
        let there_at = |dose: &Moment| {
            let stayed = |s: &Stay| {
                s.to.as_ref()
                    .is_none_or(|to| dose.seconds() <= to.seconds())
            };
            stays.iter().any(stayed)
        };
        let doses = events.iter().filter(|e| e.medicine && there_at(&e.at));
        all.extend(doses.map(of_dose));
    }
    all.sort_by_key(|m| m.at.seconds());
    Ok(all)
}

fn of_dose(dose: &Event) -> Met {
    let substance = dose.substance.clone();
    Met {
        water: dose.water.clone(),
        substance: substance.unwrap_or_else(|| "a medicine".into()),
        at: dose.at.clone(),
    }
}

/// Which medicines are, or may be, in a water: those dosed there, and those that equipment in it met.
///
/// # Errors
/// If the logbook cannot be read, or there is no such water.
pub fn in_water(logbook: &Logbook, water: &str) -> Result<Vec<Met>> {
    let events: Vec<Event> = logbook.events(water)?.into_iter().map(|(_, e)| e).collect();
    let mut all: Vec<Met> = events.iter().filter(|e| e.medicine).map(of_dose).collect();
    let mut names: Vec<&str> = Vec::new();
    for name in events.iter().filter_map(|e| e.equipment.as_deref()) {
        if !names.iter().any(|n| folded(n) == folded(name)) {
            names.push(name);
        }
    }
    for name in names {
        if stays_in(&events, name).iter().any(|s| s.to.is_none()) {
            for m in met(logbook, name)? {
                if !all.contains(&m) {
                    all.push(m);
                }
            }
        }
    }
    Ok(all)
}

/// Medicines in words, each once in each water with its last time: copper first, then the newest.
pub fn told(met: &[Met]) -> String {
    let mut last: BTreeMap<(&str, String), &Met> = BTreeMap::new();
    for m in met {
        let newest = last
            .entry((m.water.as_str(), folded(&m.substance)))
            .or_insert(m);
        if m.at.seconds() > newest.at.seconds() {
            *newest = m;
        }
    }
    let mut all: Vec<&Met> = last.into_values().collect();
    all.sort_by_key(|m| (!is_copper(&m.substance), -m.at.seconds()));
    let words: Vec<String> = all
        .iter()
        .map(|m| format!("in \"{}\" with {} ({})", m.water, m.substance, m.at.short()))
        .collect();
    words.join(", ")
}

/// Digits and signs of formulas, and separators, as plain text.
fn plain(substance: &str) -> String {
    let plain = |c: char| match c {
        '₀'..='₉' => char::from_u32(c as u32 - '₀' as u32 + '0' as u32).unwrap_or(c),
        '⁰' | '⁴'..='⁹' => char::from_u32(c as u32 - '⁰' as u32 + '0' as u32).unwrap_or(c),
        '¹' => '1',
        '²' => '2',
        '³' => '3',
        c if c.is_alphanumeric() => c,
        _ => ' ',
    };
    let text: String = substance.chars().map(plain).collect();
    text.to_lowercase()
}

/// Whether a substance is a medicine that stays in equipment: copper by its name in the languages of the page and of their
/// neighbours, the names of its salts, and formulas. What says that it is free of copper is not. Others are told by who doses them.
pub fn is_copper(substance: &str) -> bool {
    let name = plain(substance);
    let words: Vec<&str> = name.split_whitespace().collect();
    let joined = words.join(" ");
    SALTS.iter().any(|salt| joined.contains(salt))
        || words.iter().any(|w| is_formula(w))
        || (0..words.len()).any(|at| names_copper(words[at]) && !is_denied(&words, at))
}

/// Names of copper sulfate that do not name copper.
const SALTS: [&str; 9] = [
    "blue vitriol",
    "bluevitriol",
    "bluestone",
    "blue stone",
    "blauvitriol",
    "blaues vitriol",
    "blauer vitriol",
    "blaustein",
    "chalcanthite",
];

/// Whether a word names copper: English, German, French, Dutch, Swedish, Danish and Norwegian anywhere in it, since those make one
/// word of two; Latin, Spanish, Portuguese and Italian only at its beginning, since they stand within other words (frame).
fn names_copper(word: &str) -> bool {
    let within = [
        "copper", "kupfer", "cuivr", "koper", "koppar", "kopper", "kobber",
    ];
    let begins = ["cupr", "cúpr", "cobre", "rameic", "rameos"];
    within.iter().any(|c| word.contains(c))
        || begins.iter().any(|c| word.starts_with(c))
        || word == "rame"
}

/// Whether the words around a word that names copper say that there is none: copper-free, kupferfrei, ohne Kupfer, sans cuivre.
fn is_denied(words: &[&str], at: usize) -> bool {
    let before = |n: usize| at.checked_sub(n).map_or("", |i| words[i]);
    let after = |n: usize| words.get(at + n).copied().unwrap_or("");
    let free = |w: &str| ["free", "frei", "freie", "freier", "freies", "freien"].contains(&w);
    // "Not copper-free" has some.
    if ["not", "nicht"].contains(&before(1)) {
        return false;
    }
    let word = words[at];
    let denies_itself = word.ends_with("copperfree")
        || ["kupferfrei", "kupferlos"].iter().any(|d| word.contains(d));
    // The free ion of copper is copper.
    let free_of = free(after(1)) && !after(2).starts_with("ion");
    let without = [
        "no", "non", "without", "ohne", "kein", "keine", "keinen", "sans", "sin", "sem", "senza",
    ];
    let of = ["of", "from", "von", "de", "di", "da"].contains(&before(1))
        && (free(before(2))
            || ["libre", "exempt", "isento", "privo", "livre"].contains(&before(2)));
    denies_itself || free_of || without.contains(&before(1)) || of
}

/// Whether a word is `cu`, with a charge or not, or the beginning of the formula of a salt or an oxide of copper.
fn is_formula(word: &str) -> bool {
    ["cu", "cu1", "cu2"].contains(&word)
        || ["cuso4", "cu2so4", "cucl", "cuco3", "cuno3", "cu2o", "cuo"]
            .iter()
            .any(|salt| {
                word.strip_prefix(salt)
                    .is_some_and(|rest| !rest.starts_with(char::is_alphabetic))
            })
}

/// How much later than an event a dose may be logged and still count as one before it: times are often told to the day.
const SAME_DAY: i64 = 86_400;

/// What is to be said before equipment, or a medicine itself, goes into a water with invertebrates; `None` if nothing. `itself` is the
/// entry of the event where it is in the logbook already.
///
/// # Errors
/// If the logbook cannot be read.
pub fn warning(logbook: &Logbook, event: &Event, itself: Option<Entry>) -> Result<Option<String>> {
    if !logbook.water(&event.water)?.invertebrates {
        return Ok(None);
    }
    let dosed = event.substance.as_deref().filter(|s| is_copper(s));
    if let (Kind::Dose, Some(substance)) = (event.kind, dosed) {
        return Ok(Some(format!(
            "invertebrates live in \"{}\": {substance} at treatment level kills most of them, and rock, sand and filters hold \
             it and give it off later",
            event.water
        )));
    }
    if event.kind == Kind::Dose && event.medicine {
        let substance = event.substance.as_deref().unwrap_or("the medicine");
        return Ok(Some(format!(
            "invertebrates live in \"{}\": many medicines for fish harm or kill them, so {substance} is not to go in unless its maker \
             says that they bear it",
            event.water
        )));
    }
    let (Kind::EquipmentIn, Some(equipment)) = (event.kind, &event.equipment) else {
        return Ok(None);
    };
    let mut met = met_without(logbook, equipment, itself)?;
    met.retain(|m| m.at.seconds() <= event.at.seconds() + SAME_DAY);
    if met.is_empty() {
        return Ok(None);
    }
    Ok(Some(format!(
        "\"{equipment}\" was {}; invertebrates live in \"{}\": copper at treatment level kills most invertebrates, and porous \
         things hold it and give it off later",
        told(&met),
        event.water
    )))
}

/// An event as it would be with these fields, if its water or its time is among them: what a [`warning`] may hang on.
///
/// # Errors
/// If the logbook cannot be read.
pub fn as_edited(logbook: &Logbook, entry: Entry, fields: &[Field]) -> Result<Option<Event>> {
    let Some(mut event) = logbook.event(entry)? else {
        return Ok(None);
    };
    let mut touched = false;
    for field in fields {
        match field {
            Field::Water(water) => event.water.clone_from(water),
            Field::At(at) => event.at = at.clone(),
            _ => continue,
        }
        touched = true;
    }
    Ok(Some(event).filter(|_| touched))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_by_any_name() {
        for name in [
            "Copper sulfate",
            "chelated copper",
            "Cu 2 mg/L",
            "CuSO4",
            "CuSO₄·5H₂O",
            "Cu2+",
            "Cu²⁺",
            "Cu(II)",
            "blue vitriol",
            "Blue-Vitriol",
            "CuCl2",
            // As other languages have it (from memory).
            "Kupfersulfat",
            "Kupfer(II)-sulfat",
            "KUPFER",
            "Blauvitriol",
            "sulfate de cuivre",
            "sulfato de cobre",
            "solfato di rame",
            "kopersulfaat",
            "Cuprum",
            // Free copper is copper, and so is what is not free of it.
            "copper, free ion 0.2 mg/L",
            "free copper 0.2 mg/L",
            "not copper-free",
            "copper-free salt with CuSO4",
            "no iodine, copper sulfate",
            "No. 1 copper sulfate",
        ] {
            assert!(is_copper(name), "{name}");
        }
        for name in [
            "cucumber",
            "iodine",
            "circuit",
            "cuttlebone",
            "blue dye",
            "cuoco",
            "Copper-free plant food",
            "copper free",
            "copperfree",
            "free of copper",
            "no copper",
            "kupferfrei",
            "kupferfreier Dünger",
            "Kupfer-frei",
            "ohne Kupfer",
            "frei von Kupfer",
            "sans cuivre",
            "sin cobre",
            "senza rame",
            "frame cleaner",
            "ceramic",
            "parameter mix",
        ] {
            assert!(!is_copper(name), "{name}");
        }
    }
}
