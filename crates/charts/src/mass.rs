//! A mass as it is read, everywhere the same.

/// What the scales of a works show at best.
const GRAMS_A_KG: f64 = 1000.0;

/// Kilograms to the gram, however they were worked out.
pub fn to_the_gram(kg: f64) -> f64 {
    (kg * GRAMS_A_KG).round() / GRAMS_A_KG
}

/// `18.69 kg`: to the gram, without zeros at the end.
pub fn kilograms(kg: f64) -> String {
    format!("{} kg", to_the_gram(kg))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_of_floats_is_read_to_the_gram() {
        assert_eq!(
            [18.689999999999998, 48.0, 0.1 + 0.2, 1.2345].map(kilograms),
            ["18.69 kg", "48 kg", "0.3 kg", "1.235 kg"]
        );
    }
}
