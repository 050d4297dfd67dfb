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
