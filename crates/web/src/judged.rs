//! What a temper test gave, for programs: the grade of a smear and what a sample's curve says, by the rules of this site. Worked out whenever
//! it is asked for, as on the pages, so that the event itself stays as it was reported.

use model::{Batch, CouvertureId, Event, EventKind};
use plant::{Couverture, Plant};
use report::EventDto;
use serde_json::{Map, Value, json};

/// Under which it stands in the document of an event.
const RESULT: &str = "result";

/// The couverture of `batch`; that of its machine where a charge named one that the plant file does not know.
pub(crate) fn couverture_of<'p>(plant: &'p Plant, batch: &Batch) -> Option<&'p Couverture> {
    let of_machine = || plant.couverture(&plant.machine(&batch.machine)?.couverture);
    plant.couverture(&batch.couverture).or_else(of_machine)
}

/// Completes the document of `event`, a temper test of `couverture`, with its result; of other events nothing is said.
pub(crate) fn complete(plant: &Plant, couverture: Option<&CouvertureId>, event: &Event, dto: &mut EventDto) {
    let EventKind::TemperTest(test) = &event.kind else { return };
    let told = wire::further(event);
    let mut result = Map::new();
    let known = couverture.and_then(|id| plant.couverture(id));
    if let Some(known) = known.filter(|_| told.has_smear || !told.has_curve) {
        let grade = plant.temper_test.grade(known.family, test);
        result.insert("grade".to_owned(), json!(grade.letter()));
        result.insert("meaning".to_owned(), json!(grade.meaning()));
        result.insert("follows".to_owned(), json!(plant.temper_test.follows(grade)));
    }
    if let Some(curve) = wire::sample_curve(&event.raw, &plant.temper_test.curve).filter(|_| told.has_curve) {
        let inflection = curve.inflection.map(|found| {
            json!({
                "seconds": rounded(found.seconds), "celsius": rounded(found.celsius),
                "slope_c_per_min": rounded(found.slope_c_per_min), "slope_se": rounded(found.slope_se),
            })
        });
        result.insert("curve_grade".to_owned(), json!(curve.grade.as_str()));
        result.insert("curve_says".to_owned(), json!(curve.says));
        result.insert("inflection".to_owned(), json!(inflection));
    }
    if !result.is_empty() {
        dto.fields.insert(RESULT.to_owned(), Value::Object(result));
    }
}

/// To four decimals, as everywhere in documents.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
