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

/// A time during which equipment was in a water.
#[derive(Debug, Clone, PartialEq)]
pub struct Stay {
    pub water: String,
    /// When it was put in; `None` if only its leaving was logged.
    pub from: Option<Moment>,
    /// When it was taken out; `None` if it is there still.
    pub to: Option<Moment>,
}

/// Where equipment has been, in the order of time.
///
/// # Errors
/// If the logbook cannot be read.
pub fn stays(logbook: &Logbook, equipment: &str) -> Result<Vec<Stay>> {
    let mut all = Vec::new();
    for (_, water) in logbook.waters()? {
        all.extend(stays_in(&events(logbook, &water.name)?, equipment));
    }
    all.sort_by_key(|s: &Stay| s.from.as_ref().or(s.to.as_ref()).map(Moment::seconds));
    Ok(all)
}

fn events(logbook: &Logbook, water: &str) -> Result<Vec<Event>> {
    let events = logbook.events(water)?;
    Ok(events.into_iter().map(|(_, e)| e).collect())
}

/// The stays in one water by its events, which are in the order of time.
fn stays_in(events: &[Event], equipment: &str) -> Vec<Stay> {
    let name = equipment.to_lowercase();
    let mut stays: Vec<Stay> = Vec::new();
    for e in events {
        if e.equipment.as_ref().map(|n| n.to_lowercase()) != Some(name.clone()) {
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

/// Which medicines equipment met: those dosed before it left a water, also before it came, since what is left in a water
/// cannot be known.
///
/// # Errors
/// If the logbook cannot be read.
pub fn met(logbook: &Logbook, equipment: &str) -> Result<Vec<Met>> {
    let mut all = Vec::new();
    for (_, water) in logbook.waters()? {
        let events = events(logbook, &water.name)?;
        let stays = stays_in(&events, equipment);
        let there_at = |dose: &Moment| {
            let stayed = |s: &Stay| {
                s.to.as_ref()
                    .is_none_or(|to| dose.seconds() <= to.seconds())
            };
            stays.iter().any(stayed)
        };
        let doses = events.iter().filter(|e| e.medicine && there_at(&e.at));
        all.extend(doses.map(|dose| {
            Met {
                water: water.name.clone(),
                substance: dose
                    .substance
                    .clone()
                    .unwrap_or_else(|| "a medicine".into()),
                at: dose.at.clone(),
            }
        }));
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
