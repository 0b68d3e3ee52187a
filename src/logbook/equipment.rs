//! Equipment that has met copper or another medicine, and where it must not go.
//!
//! Copper that treats fish parasites is lethal to most invertebrates (Yanong, *Use of Copper in Marine Aquaculture and Aquarium
//! Systems*, University of Florida IFAS FA165), and media, rock, sand and filter material that were exposed to it hold it and give
//! it off later, so that they must not be moved to a system with invertebrates (common practice). Whether a thing holds copper
//! cannot be seen: all equipment that was in a dosed water counts.

use super::{Event, Kind, Logbook, Moment};
use crate::error::Result;

/// When and where equipment met a medicine.
#[derive(Debug, Clone, PartialEq)]
pub struct Met {
    /// The water in which it was.
    pub water: String,
    /// What had been put into it.
    pub substance: String,
    /// When the medicine was dosed.
    pub at: Moment,
}

/// Where equipment has been, and which medicines it met there: those dosed before it left, also before it came, since what
/// is left in a water cannot be known.
///
/// # Errors
/// If the logbook cannot be read.
pub fn met(logbook: &Logbook, equipment: &str) -> Result<Vec<Met>> {
    let mut all = Vec::new();
    for (_, water) in logbook.waters()? {
        let events: Vec<Event> = logbook
            .events(&water.name)?
            .into_iter()
            .map(|(_, e)| e)
            .collect();
        let moves = |kind: Kind| {
            events.iter().filter(move |e| {
                e.kind == kind
                    && e.equipment
                        .as_ref()
                        .is_some_and(|n| n.to_lowercase() == equipment.to_lowercase())
            })
        };
        let came = moves(Kind::EquipmentIn).map(|e| e.at.seconds()).min();
        let Some(came) = came else { continue };
        // It is there still if it came after it last left.
        let last_in = moves(Kind::EquipmentIn).map(|e| e.at.seconds()).max();
        let left = moves(Kind::EquipmentOut)
            .map(|e| e.at.seconds())
            .max()
            .filter(|left| last_in.is_some_and(|last| *left >= last && *left >= came));
        for dose in events.iter().filter(|e| e.medicine) {
            if left.is_none_or(|left| dose.at.seconds() <= left) {
                all.push(Met {
                    water: water.name.clone(),
                    substance: dose
                        .substance
                        .clone()
                        .unwrap_or_else(|| "a medicine".into()),
                    at: dose.at.clone(),
                });
            }
        }
    }
    all.sort_by_key(|m| m.at.seconds());
    Ok(all)
}

/// Whether a substance is a medicine that stays in equipment: copper by any of its usual names. Others are told by who doses
/// them.
pub fn is_copper(substance: &str) -> bool {
    let name = substance.to_lowercase();
    ["copper", "cupric", "cuso4"]
        .iter()
        .any(|c| name.contains(c))
        || name
            .split(|c: char| !c.is_alphanumeric())
            .any(|w| w == "cu")
}

/// What is to be said before equipment, or copper itself, goes into a water with invertebrates; `None` if nothing.
///
/// # Errors
/// If the logbook cannot be read.
pub fn warning(logbook: &Logbook, event: &Event) -> Result<Option<String>> {
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
    let (Kind::EquipmentIn, Some(equipment)) = (event.kind, &event.equipment) else {
        return Ok(None);
    };
    let met = met(logbook, equipment)?;
    Ok(met.last().map(|m| {
        format!(
            "\"{equipment}\" was in \"{}\" with {} ({}), and invertebrates live in \"{}\": copper at treatment level kills most \
             invertebrates, and porous things hold it and give it off later",
            m.water,
            m.substance,
            m.at.short(),
            event.water
        )
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_by_any_name() {
        for name in ["Copper sulfate", "chelated copper", "Cu 2 mg/L", "CuSO4"] {
            assert!(is_copper(name), "{name}");
        }
        for name in ["cucumber", "iodine", "circuit"] {
            assert!(!is_copper(name), "{name}");
        }
    }
}
