//! What a `[[couverture]]` means.

use crate::fault::Faults;
use crate::meaning::limits;
use crate::meaning::words::{self, Ids};
use crate::raw::RawCouverture;
use crate::{Couverture, Family};

/// All ids that stand there, and the couvertures without a fault.
pub(crate) fn mean_all(raw: &[RawCouverture], faults: &mut Faults<'_>) -> (Ids, Vec<Couverture>) {
    let mut ids = Ids::of("couverture");
    let couvertures = raw.iter().filter_map(|raw| mean(raw, &mut ids, faults)).collect();
    (ids, couvertures)
}

fn mean(raw: &RawCouverture, ids: &mut Ids, faults: &mut Faults<'_>) -> Option<Couverture> {
    let id = ids.take(raw.id.as_ref(), faults);
    let name = words::not_blank(raw.name.as_ref(), "name", faults);
    let family = words::one_of(raw.family.as_ref(), "family", &Family::ALL, Family::as_str, faults);
    let overrides = limits::mean(&raw.limits, faults);
    if let Some(family) = family {
        limits::check_ladder(&raw.limits, &overrides.over(family.default_limits()), faults);
    }
    Some(Couverture { id: id?, name, family: family?, overrides })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::meaning::tests::check_with;

    #[test]
    fn an_id_can_stand_only_once_and_has_to_be_one() {
        check_with(
            r#"
[[couverture]]
id = "dark-64"
family = "dark"
[[couverture]]
id = "milk 38"
family = "milk"
"#,
            expect![[r#"
                line 14: the couverture `dark-64` is there twice; it first stands in line 6
                line 17: the id `milk 38` holds ` `; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit"#]],
        );
    }

    #[test]
    fn id_and_family_are_needed() {
        check_with(
            "[[couverture]]\nname = \"\"\n[[couverture]]\nid = \"w\"\nfamily = \"whit\"\n",
            expect![[r#"
            line 12: `family` is missing in [[couverture]]
            line 12: `id` is missing in [[couverture]]
            line 13: `name` cannot be empty
            line 16: `whit` is not a family (one of dark, milk and white); did you mean `white`?"#]],
        );
    }
}
