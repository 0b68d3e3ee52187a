//! Volumes as people write them.

/// Litres of a volume with its unit: L, mL, m3, US gal or UK gal, such as `400L` or `10 US gal`.
///
/// # Errors
/// One phrase that says what a volume looks like.
pub fn litres(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let split = text
        .find(|c: char| c.is_alphabetic())
        .ok_or("a volume has a unit: L, mL, m3, US gal or UK gal, such as 400L")?;
    let (number, unit) = text.split_at(split);
    let number: f64 = number
        .trim()
        .parse()
        .map_err(|_| format!("\"{}\" is no number", number.trim()))?;
    // The gallons are exact by definition: 231 cubic inches, and 4.54609 L (NIST SP 811, appendix B).
    let litres = match unit.to_lowercase().replace(' ', "").as_str() {
        "l" => 1.0,
        "ml" => 1e-3,
        "m3" => 1e3,
        "usgal" => 3.785_411_784,
        "ukgal" => 4.546_09,
        _ => {
            return Err(format!(
                "\"{unit}\" is not known: give L, mL, m3, US gal or UK gal"
            ));
        }
    };
    Some(number * litres)
        .filter(|v| v.is_finite() && *v > 0.0)
        .ok_or_else(|| "a volume is more than nothing".to_owned())
}
