//! Volumes as people write them.

/// Litres of a volume with its unit: L, mL, m3, US gal or UK gal, such as `400L` or `10 US gal`.
///
/// # Errors
/// One phrase that says what a volume looks like.
pub fn litres(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let like = "a volume is a number with its unit: L, mL, m3, US gal or UK gal, such as 400L";
    let split = text.find(|c: char| c.is_alphabetic()).ok_or(like)?;
    let (number, unit) = text.split_at(split);
    let number: f64 = match number.trim() {
        "" => return Err(like.to_owned()),
        told => told.parse().map_err(|_| {
            if told.contains(',') {
                format!("\"{told}\" is no number: write a decimal point, not a comma")
            } else {
                format!("\"{told}\" is no number")
            }
        })?,
    };
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
