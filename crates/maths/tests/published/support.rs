//! What several subjects share: reading a fixture, counting digits, and random numbers from a fixed seed.

use std::path::Path;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A TOML fixture.
pub(crate) fn toml(name: &str) -> toml::Value {
    ::toml::from_str(&text(name)).unwrap()
}

/// A CSV fixture without quoted commas in the columns that are asked for: rows of fields, quoted text kept as one field.
pub(crate) fn csv(name: &str) -> Vec<Row> {
    let text = text(name);
    let mut lines = text.lines();
    let names = fields(lines.next().unwrap());
    lines.map(|line| Row { names: names.clone(), fields: fields(line) }).collect()
}

fn fields(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            other => fields.last_mut().unwrap().push(other),
        }
    }
    fields
}

pub(crate) struct Row {
    names: Vec<String>,
    fields: Vec<String>,
}

impl Row {
    pub(crate) fn text(&self, name: &str) -> &str {
        let column = self.names.iter().position(|n| n == name).unwrap_or_else(|| panic!("no column {name}"));
        &self.fields[column]
    }

    pub(crate) fn number(&self, name: &str) -> f64 {
        self.text(name).parse().unwrap_or_else(|_| panic!("{name}: {:?} is no number", self.text(name)))
    }

    pub(crate) fn maybe(&self, name: &str) -> Option<f64> {
        self.text(name).parse().ok()
    }
}

pub(crate) fn number(value: &toml::Value) -> f64 {
    value
        .as_float()
        .or_else(|| value.as_integer().map(|i| i as f64))
        .unwrap_or_else(|| panic!("{value:?} is no number"))
}

pub(crate) fn numbers(value: &toml::Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

/// Digits in common: `−log₁₀ |value − certified|/|certified|`, at most 15.
pub(crate) fn digits(value: f64, certified: f64) -> f64 {
    let off = (value - certified).abs() / certified.abs();
    if off == 0.0 { 15.0 } else { (-off.log10()).clamp(0.0, 15.0) }
}

/// Fails unless `value` rounds to what is printed, `places` digits behind the point (half a unit, and a hair for binary).
#[track_caller]
pub(crate) fn printed(value: f64, printed: f64, places: i32) {
    let half_unit = 0.5 * 10f64.powi(-places) * (1.0 + 1e-9) + 1e-12 * printed.abs();
    assert!((value - printed).abs() <= half_unit, "{value} is not printed as {printed}");
}

/// Standard normal numbers by the polar form of Box and Muller (1958).
pub(crate) struct Noise {
    random: ChaCha8Rng,
    spare: Option<f64>,
}

impl Noise {
    pub(crate) fn seeded(seed: u64) -> Noise {
        Noise { random: ChaCha8Rng::seed_from_u64(seed), spare: None }
    }

    pub(crate) fn uniform(&mut self) -> f64 {
        self.random.random::<f64>()
    }

    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (a, b) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let square = a * a + b * b;
            if 0.0 < square && square < 1.0 {
                let stretch = (-2.0 * square.ln() / square).sqrt();
                self.spare = Some(b * stretch);
                return a * stretch;
            }
        }
    }
}
