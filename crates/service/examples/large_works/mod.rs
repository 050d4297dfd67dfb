//! The plant of a large works.

use std::sync::Arc;

use plant::Plant;

pub(crate) fn plant(machines: usize) -> Result<Arc<Plant>, String> {
    plant::parse_plant(&plant_text(machines))
        .map(Arc::new)
        .map_err(|faults| format!("{} faults", faults.len()))
}

pub(crate) fn plant_text(machines: usize) -> String {
    let mut text = String::from(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"mqtt://127.0.0.1:1\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n",
    );
    for n in 0..machines {
        text += &format!(
            "[[machine]]\nid = \"kettle-{n}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n"
        );
    }
    text
}
