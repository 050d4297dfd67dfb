//! The sentence for each kind of mistake.

use axum::http::StatusCode;
use web::Entries;

use crate::works::works;

#[tokio::test]
async fn each_fault_of_a_query_has_its_sentence() {
    let works = works(Entries::Closed);
    let wanted = "machine=alder&channel=chocolate&from=2026-03-02T11:50:00Z&to=2026-03-02T12:00:00Z";
    for (address, code, sentence) in [
        ("/api/v1/batches?colour=red".to_owned(), "unknown-parameter",
            "The parameter `colour` is not known here; this address takes machine, from, to, open, after, limit."),
        ("/api/v1/batches?limit=5&limit=6".to_owned(), "repeated-parameter",
            "The parameter `limit` stands twice; give it once."),
        ("/api/v1/batches?limit=1001".to_owned(), "bad-parameter",
            "The parameter `limit` is `1001`; it should be a whole number from 1 to 1000."),
        ("/api/v1/batches?from=yesterday".to_owned(), "bad-parameter",
            "The parameter `from` is `yesterday`; it should be a time such as 2026-03-02T05:00:00Z."),
        ("/api/v1/batches?open=perhaps".to_owned(), "bad-parameter",
            "The parameter `open` is `perhaps`; it should be yes or no."),
        ("/api/v1/readings?channel=chocolate".to_owned(), "missing-parameter",
            "The parameter `machine` is missing; it should be the id of a machine of the plant file."),
        ("/api/v1/readings?machine=alder&channel=vibration".to_owned(), "bad-parameter",
            "The parameter `channel` is `vibration`; it should be a channel such as chocolate, jacket or room."),
        ("/api/v1/readings?machine=alder&channel=chocolate&from=2026-03-02T12:00:00Z&to=2026-03-02T11:00:00Z".to_owned(),
            "bad-parameter", "The parameter `to` is `2026-03-02T11:00:00Z`; it should be a time after `from`."),
        (format!("/api/v1/readings?{wanted}&points=1"), "bad-parameter",
            "The parameter `points` is `1`; it should be a whole number from 2 to 10000."),
        (format!("/api/v1/readings?{wanted}&format=xml"), "bad-parameter",
            "The parameter `format` is `xml`; it should be json, csv or parquet."),
        ("/machines/alder/curve.svg?width=huge".to_owned(), "bad-parameter",
            "The parameter `width` is `huge`; it should be wide, narrow or 280 to 3840 pixels."),
    ] {
        let answer = works.get(&address).await;
        let problem = answer.json();
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{address}");
        assert_eq!(answer.header("content-type"), "application/problem+json", "{address}");
        assert_eq!(problem["code"], code, "{address}");
        assert_eq!(problem["detail"], sentence, "{address}");
        assert_eq!(problem["status"], 400, "{address}");
        assert_eq!(problem["title"], "Bad Request", "{address}");
    }
}

#[tokio::test]
async fn what_is_not_there_is_said_in_the_readers_form() {
    let works = works(Entries::Closed);
    for (address, sentence) in [
        ("/api/v1/batches/alder-2020-01-01T00:00", "There is no batch `alder-2020-01-01T00:00`."),
        ("/api/v1/findings?machine=oak", "There is no machine `oak` in the plant file."),
        ("/batches/none.svg", "There is no batch `none`."),
        ("/api/v2/batches", "There is no such page here."),
    ] {
        let answer = works.get(address).await;
        assert_eq!(
            (answer.status, &answer.json()["detail"]),
            (StatusCode::NOT_FOUND, &sentence.into()),
            "{address}"
        );
    }
    for (address, sentence) in [
        ("/machines/oak", "There is no machine `oak` in the plant file."),
        ("/machines/%3Cb%3E", "There is no machine `&lt;b&gt;` in the plant file."),
        ("/batches/none", "There is no batch `none`."),
        ("/nowhere", "There is no such page here."),
        ("/machines/alder?span=1w", "The parameter `span` is `1w`; it should be 3h, 12h, 24h or batch."),
    ] {
        let answer = works.get(address).await;
        assert!(answer.status.is_client_error(), "{address}");
        assert!(answer.header("content-type").starts_with("text/html"), "{address}");
        assert!(answer.says(sentence), "{address}: {}", answer.text);
    }
}

/// The same addresses of pages, asked by a program.
#[tokio::test]
async fn a_program_gets_faults_of_pages_as_documents() {
    let works = works(Entries::Closed);
    for accept in
        ["*/*", "application/json", "application/problem+json", "application/problem+json, text/html;q=0.5"]
    {
        for (address, status, code) in [
            ("/machines/oak", 404, "no-such-machine"),
            ("/batches/none", 404, "no-such-batch"),
            ("/days/2026-02-30", 404, "no-such-day"),
            ("/weeks/2026-W54", 404, "no-such-week"),
            ("/nowhere", 404, "no-such-page"),
            ("/machines/alder?span=1w", 400, "bad-parameter"),
        ] {
            let answer = works.get_accepting(address, accept).await;
            assert_eq!(answer.header("content-type"), "application/problem+json", "{accept} {address}");
            assert_eq!(answer.status.as_u16(), status, "{address}");
            assert_eq!(answer.json()["code"], code, "{address}");
        }
    }
    let nothing = axum::http::Request::get("/nowhere").body(axum::body::Body::empty()).unwrap();
    assert_eq!(works.send(nothing).await.header("content-type"), "application/problem+json");
}

#[tokio::test]
async fn an_answer_covers_only_so_much_time() {
    let wanted = "machine=alder&channel=chocolate&from=2025-03-02T00:00:00Z&to=2026-03-02T00:00:00Z";
    let answer = works(Entries::Closed).get(&format!("/api/v1/readings?{wanted}")).await;
    assert_eq!(
        (answer.status, &answer.json()["code"]),
        (StatusCode::UNPROCESSABLE_ENTITY, &"time-too-long".into())
    );
}

#[tokio::test]
async fn a_page_does_not_take_what_it_has_no_use_for() {
    let request = axum::http::Request::delete("/api/v1/batches").body(axum::body::Body::empty()).unwrap();
    let answer = works(Entries::Closed).send(request).await;
    assert_eq!(answer.status, StatusCode::METHOD_NOT_ALLOWED);
    assert_eq!(answer.json()["code"], "method-not-allowed");
}
