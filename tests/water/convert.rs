//! Other ways to state a concentration.

use super::*;

/// Source: molar masses and factors of water_facts.json, from IUPAC atomic weights 2021 (Prohaska et al. 2022).
#[test]
fn molar_masses_and_factors_are_those_of_the_reference() {
    let facts = facts();
    let masses = facts["molar_mass_g_mol"].as_object().unwrap();
    assert_eq!(masses.len(), 12);
    for (name, mass) in masses {
        assert_relative_eq!(
            species(name).molar_mass(),
            mass.as_f64().unwrap(),
            max_relative = 1e-12
        );
    }
    let factors = facts["factors"].as_object().unwrap();
    assert_eq!(factors.len(), 14);
    for (name, wanted) in factors {
        let pair = name.split(" (").next().unwrap();
        let (to, from) = pair.split_once(" per ").unwrap();
        assert_relative_eq!(
            factor(species(from), species(to)).unwrap(),
            wanted.as_f64().unwrap(),
            max_relative = 1e-9
        );
    }
}

#[test]
fn converting_there_and_back_changes_nothing_and_keeps_the_relative_uncertainty() {
    let c = Estimate::new(20.0, 1.5);
    let mut pairs = 0;
    for a in Species::ALL {
        for b in Species::ALL {
            if let Ok(there) = convert(c, a, b) {
                pairs += 1;
                let back = convert(there, b, a).unwrap();
                assert_relative_eq!(back.value, 20.0, max_relative = 1e-12);
                assert_relative_eq!(there.u / there.value, 0.075, max_relative = 1e-12);
            }
        }
    }
    assert!(pairs > Species::ALL.len(), "{pairs}");
}

#[test]
fn nothing_in_common_is_refused_by_name() {
    let e = convert(exact(1.0), Species::Nitrate, Species::Phosphate).unwrap_err();
    assert!(e.what.contains("NO3 and PO4"), "{e}");
    assert!(
        factor(Species::SodiumNitrate, Species::PotassiumNitrate).is_ok(),
        "both hold N"
    );
    assert!(factor(Species::K, Species::Nitrate).is_err());
    let e = "NO4".parse::<Species>().unwrap_err();
    assert!(e.fix.contains("KH2PO4"), "{e}");
    all_refused(NOT_AMOUNTS.map(|c| convert(c, Species::Nitrate, Species::N)));
}

/// Source: check values of Fofonoff & Millard (1983) UNESCO Tech. Pap. Mar. Sci. 44 and Millero & Poisson (1981), to the
/// digits printed, at temperatures on IPTS-68.
#[test]
fn density_has_the_published_check_values() {
    for (s, t68, wanted, digit) in [
        (0.0, 5.0, 999.96675, 5e-6),
        (35.0, 5.0, 1027.67547, 5e-6),
        (35.0, 25.0, 1023.343, 5e-4),
    ] {
        let found = density(s, t68 / 1.00024).unwrap();
        assert!((found - wanted).abs() <= digit * 1.01, "{s} {t68}: {found}");
    }
}

/// Source: column eos80 of water_facts.json, made with an independent implementation; the column of TEOS-10 (IOC, SCOR &
/// IAPSO 2010) is another equation of state, and 0.005 kg/m3 is the most that the two differ by there.
#[test]
fn density_agrees_with_other_implementations() {
    let facts = facts();
    let rows = facts["seawater_density"]["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 14);
    for row in rows {
        let [s, t, eos80, teos10] = [0, 1, 2, 3].map(|i| row[i].as_f64().unwrap());
        let found = density(s, t).unwrap();
        assert_relative_eq!(found, eos80, max_relative = 1e-9);
        assert!((found - teos10).abs() < 0.005, "{s} {t}");
    }
}

/// Source: water_facts.json, "ppm": 1.0233 at salinity 35 and 25 degrees.
#[test]
fn ppm_by_mass_is_less_than_mg_per_litre_in_sea_water() {
    let c = mg_per_litre_from_ppm(Estimate::new(10.0, 1.0), 35.0, 25.0).unwrap();
    assert!((c.value - 10.233).abs() < 6e-4 && (c.u - 1.0233).abs() < 6e-5);
    let back = ppm_from_mg_per_litre(c, 35.0, 25.0).unwrap();
    assert_relative_eq!(back.value, 10.0, max_relative = 1e-12);
    all_refused([
        ppm_from_mg_per_litre(exact(1.0), 43.0, 25.0),
        ppm_from_mg_per_litre(exact(1.0), -1.0, 25.0),
        ppm_from_mg_per_litre(exact(1.0), 35.0, 41.0),
        ppm_from_mg_per_litre(exact(1.0), 35.0, f64::NAN),
        ppm_from_mg_per_litre(exact(-1.0), 35.0, 25.0),
    ]);
}
