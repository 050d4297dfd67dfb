//! The typesetter's world: one source, the files that came with it, the embedded fonts, and nothing else.

use std::collections::HashMap;
use std::sync::LazyLock;

use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World, WorldExt};
use typst_kit::fonts::{FontStore, embedded};

use crate::PaperError;

/// The name of the source in its own world.
const MAIN: &str = "main.typ";

/// Fonts and library are the same for every sheet.
static FONTS: LazyLock<FontStore> = LazyLock::new(|| {
    let mut fonts = FontStore::new();
    fonts.extend(embedded());
    fonts
});
static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));

/// One source and the files beside it.
pub(crate) struct Sheet {
    main: Source,
    files: HashMap<FileId, Bytes>,
}

impl Sheet {
    pub(crate) fn new(source: &str, files: &[(&str, Vec<u8>)]) -> Result<Sheet, PaperError> {
        let main = Source::new(id(MAIN)?, source.to_owned());
        let files = files
            .iter()
            .map(|(name, bytes)| Ok((id(name)?, Bytes::new(bytes.clone()))))
            .collect::<Result<_, PaperError>>()?;
        Ok(Sheet { main, files })
    }
}

fn id(name: &str) -> Result<FileId, PaperError> {
    let plain = !name.is_empty() && !name.contains(['/', '\\']);
    let path = VirtualPath::new(name).ok().filter(|_| plain);
    path.map(|path| FileId::new(RootedPath::new(VirtualRoot::Project, path)))
        .ok_or_else(|| PaperError::Name { name: name.to_owned() })
}

impl World for Sheet {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        FONTS.book()
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(missing(id)) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or_else(|| missing(id))
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.font(index)
    }

    /// There is no today: a report says what it was made from, not when it was printed.
    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn missing(id: FileId) -> FileError {
    FileError::NotFound(id.vpath().get_without_slash().into())
}

/// The first fault in words.
pub(crate) fn fault_of(sheet: &Sheet, fault: Option<&SourceDiagnostic>) -> PaperError {
    let Some(fault) = fault else { return PaperError::Page { says: "no reason was given".to_owned() } };
    let says = fault.message.to_string();
    let line = sheet.range(fault.span).and_then(|range| sheet.main.lines().byte_to_line(range.start));
    match line {
        Some(line) => PaperError::Source { line: line + 1, says },
        None => PaperError::Page { says },
    }
}
