//! °F and other clocks: a reader's own browser says so, and documents for programs do not care.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use web::Entries;

use crate::works::{Answer, Works, works};

async fn get_as(works: &Works, cookies: &str, address: &str) -> Answer {
    let request = Request::get(address).header("cookie", cookies).body(Body::empty()).unwrap();
    works.send(request).await
}

#[tokio::test]
async fn a_reader_of_fahrenheit_reads_it_everywhere() {
    let works = works(Entries::OpenOnLoopback);
    for address in ["/", "/machines/alder", "/batches/alder-2026-03-02T09:00"] {
        let page = get_as(&works, "hd-degrees=F", address).await;
        assert!(page.says("°F") && !page.says("°C"), "{address}: {}", page.text);
    }
    let floor = get_as(&works, "hd-degrees=F", "/").await;
    assert!(floor.says("<span class=\"number\">91.1</span><span class=\"unit\">°F</span>"));
    let batch = get_as(&works, "hd-degrees=F", "/api/v1/batches/alder-2026-03-02T09:00").await.json();
    assert_eq!(batch["measures"]["soak_max_c"], 46.1, "programs get °C");
}

#[tokio::test]
async fn a_reader_elsewhere_reads_their_own_clock() {
    let works = works(Entries::Closed);
    let page = get_as(&works, "hd-zone=Asia/Kolkata", "/machines/alder").await;
    assert!(page.says("17:30:00") && page.says("Asia/Kolkata"), "noon in Lisbon: {}", page.text);
    assert!(works.get("/machines/alder").await.says("12:00:00"));
}

#[tokio::test]
async fn the_choice_is_kept_in_cookies_and_nowhere_else() {
    let works = works(Entries::Closed);
    let chosen = works.get("/display?degrees=F&zone=Asia/Kolkata").await;
    assert_eq!((chosen.status, chosen.header("location")), (StatusCode::SEE_OTHER, "/display?set=yes"));
    let cookies: Vec<_> =
        chosen.headers.get_all("set-cookie").iter().map(|one| one.to_str().unwrap()).collect();
    assert_eq!(
        cookies,
        [
            "hd-degrees=F; Path=/; Max-Age=31536000; SameSite=Lax; HttpOnly",
            "hd-zone=Asia/Kolkata; Path=/; Max-Age=31536000; SameSite=Lax; HttpOnly"
        ]
    );
    let page = get_as(&works, "hd-degrees=F", "/display").await;
    assert!(page.says("The plant's own, Europe/Lisbon"), "{}", page.text);
    for (address, sentence) in [
        ("/display?degrees=K", "The parameter `degrees` is `K`; it should be C or F."),
        (
            "/display?degrees=C&zone=Nowhere",
            "it should be a zone of the IANA database, such as Europe/Lisbon.",
        ),
    ] {
        assert!(works.get(address).await.says(sentence), "{address}");
    }
}
