//! How the one who looks wants to read: in which degrees, and on which clock.
//!
//! Two cookies of their own browser say it; without them a page is in °C and on the plant's clock. It belongs to the
//! request as a whole, like its language would: it is set once where a request comes in, and everything that turns a
//! figure into words looks here, instead of handing it through every function on the way.
//!
//! Never kept by the service, and never applied to a document for programs.

use std::collections::BTreeMap;
use std::sync::{LazyLock, OnceLock};

use axum::extract::Request;
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::Response;
use charts::Degrees;
use jiff::tz::TimeZone;

use crate::words::LocalTime;

pub(crate) const DEGREES_COOKIE: &str = "hd-degrees";
pub(crate) const ZONE_COOKIE: &str = "hd-zone";

tokio::task_local! {
    static READER: Reader;
}

/// Every zone of the time-zone database by its name; one is read when it is first asked for.
static ZONES: LazyLock<BTreeMap<String, OnceLock<Option<LocalTime>>>> = LazyLock::new(|| {
    jiff::tz::db().available().map(|name| (name.as_str().to_owned(), OnceLock::new())).collect()
});

/// How one reader reads.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Reader {
    pub degrees: Degrees,
    /// Another zone than the plant's.
    pub zone: Option<&'static str>,
}

impl Reader {
    /// Who looks at what is being made now.
    pub(crate) fn now() -> Reader {
        READER.try_with(|reader| *reader).unwrap_or_default()
    }

    /// Does `make` for this reader.
    pub(crate) fn while_making<T>(self, make: impl FnOnce() -> T) -> T {
        READER.sync_scope(self, make)
    }

    /// The reader's own clock, where it is not the plant's.
    pub(crate) fn clock(self) -> Option<&'static LocalTime> {
        let (name, slot) = ZONES.get_key_value(self.zone?)?;
        slot.get_or_init(|| TimeZone::get(name).ok().map(LocalTime::new)).as_ref()
    }

    /// What the cookies say; one that is not known says nothing.
    fn of(headers: &HeaderMap) -> Reader {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
        let pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
        pairs.fold(Reader::default(), |reader, (name, value)| match name {
            DEGREES_COOKIE => Reader { degrees: degrees_of(value).unwrap_or_default(), ..reader },
            ZONE_COOKIE => Reader { zone: zone_of(value), ..reader },
            _ => reader,
        })
    }
}

/// `C` or `F`.
pub(crate) fn degrees_of(text: &str) -> Option<Degrees> {
    match text {
        "C" => Some(Degrees::Celsius),
        "F" => Some(Degrees::Fahrenheit),
        _ => None,
    }
}

/// The letter of the degrees, for cookies and scripts.
pub(crate) fn letter(degrees: Degrees) -> &'static str {
    match degrees {
        Degrees::Celsius => "C",
        Degrees::Fahrenheit => "F",
    }
}

/// The zone of that name.
pub(crate) fn zone_of(text: &str) -> Option<&'static str> {
    ZONES.get_key_value(text).map(|(name, _)| name.as_str())
}

/// The names of all zones, by continent and city.
pub(crate) fn zone_names() -> impl Iterator<Item = &'static str> {
    ZONES.keys().map(String::as_str).filter(|name| *name == "UTC" || name.contains('/'))
}

/// Every request is answered as its reader reads.
pub(crate) async fn for_its_reader(request: Request, next: Next) -> Response {
    let reader = Reader::of(request.headers());
    READER.scope(reader, next.run(request)).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(cookies: &str) -> Reader {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, cookies.parse().unwrap());
        Reader::of(&headers)
    }

    #[test]
    fn cookies_say_how_a_reader_reads() {
        let reader = with("other=1; hd-degrees=F; hd-zone=Asia/Kolkata");
        assert_eq!((reader.degrees, reader.zone), (Degrees::Fahrenheit, Some("Asia/Kolkata")));
        assert!(reader.clock().is_some());
        assert_eq!(with("hd-degrees=K; hd-zone=Nowhere/At-all"), Reader::default());
        assert!(Reader::default().clock().is_none());
    }

    #[test]
    fn what_is_made_for_a_reader_is_made_as_they_read() {
        let reader = with("hd-degrees=F");
        assert_eq!(reader.while_making(Reader::now), reader);
        assert_eq!(Reader::now(), Reader::default());
    }
}
