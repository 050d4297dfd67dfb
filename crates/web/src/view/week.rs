//! A section of the review as a page shows it.

use report::{Cell, Holds, Section};
use serde::Serialize;

use super::Scene;
use super::overlay::Picture;

/// A section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SectionView {
    pub key: &'static str,
    pub title: &'static str,
    pub says: Vec<String>,
    pub heads: Vec<Head>,
    pub rows: Vec<Vec<CellView>>,
    pub wide: Vec<Picture>,
    pub narrow: Vec<Picture>,
}

/// The head of a column.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Head {
    pub word: &'static str,
    pub class: &'static str,
}

/// A cell.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CellView {
    pub says: String,
    pub class: &'static str,
    pub href: Option<String>,
}

impl SectionView {
    pub(crate) fn new(scene: Scene<'_>, section: &Section) -> SectionView {
        let class = |holds: Holds| match holds {
            Holds::Numbers => "num",
            Holds::Sentence => "sentence",
            Holds::Words | Holds::Moments => "",
        };
        let table = section.table.as_ref();
        let columns = table.map_or(&[][..], |table| table.columns.as_slice());
        let zone = scene.plant.time_zone.rules();
        let cell = |(cell, (_, holds)): (&Cell, &(&str, Holds))| CellView {
            says: cell.says(zone),
            class: class(*holds),
            href: match cell {
                Cell::Batch(id, _) => Some(format!("/batches/{id}")),
                Cell::Text(_) | Cell::Number(..) | Cell::Moment(_) | Cell::Nothing => None,
            },
        };
        let rows = table.map_or(&[][..], |table| table.rows.as_slice());
        let pictures = |is_wide: bool| {
            let wanted = section.pictures.iter().filter(move |picture| picture.is_wide == is_wide);
            wanted
                .map(|p| Picture { name: p.name.clone(), says: p.says.clone(), svg: p.svg.clone() })
                .collect()
        };
        SectionView {
            key: section.key,
            title: section.title,
            says: section.says.iter().map(|says| scene.sentence(says)).collect(),
            heads: columns.iter().map(|(word, holds)| Head { word, class: class(*holds) }).collect(),
            rows: rows.iter().map(|row| row.iter().zip(columns).map(cell).collect()).collect(),
            wide: pictures(true),
            narrow: pictures(false),
        }
    }
}
