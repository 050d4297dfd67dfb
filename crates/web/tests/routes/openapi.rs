//! The OpenAPI document: as it was agreed, whole, and true.

use std::collections::BTreeSet;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use serde_json::Value;
use web::Entries;

use crate::works::{Works, works};

async fn document(works: &Works) -> Value {
    works.get("/api/openapi.json").await.json()
}

/// Every address with its verb and what is said of it.
fn operations(document: &Value) -> Vec<(String, String, Value)> {
    let paths = document["paths"].as_object().unwrap();
    let of_path = |(path, verbs): (&String, &Value)| {
        let verbs = verbs.as_object().unwrap();
        verbs.iter().map(|(verb, said)| (path.clone(), verb.clone(), said.clone())).collect::<Vec<_>>()
    };
    paths.iter().flat_map(of_path).collect()
}

#[tokio::test]
async fn programs_are_told_what_was_agreed() {
    let told = serde_json::to_string_pretty(&document(&works(Entries::Closed)).await).unwrap();
    expect_test::expect_file!["../openapi.json"].assert_eq(&(told + "\n"));
}

/// It stands where no version is in the address, because it says which there are, and once more beside what it describes.
#[tokio::test]
async fn there_is_one_document_at_both_of_its_addresses() {
    let works = works(Entries::Closed);
    let (first, second) = (works.get("/api/openapi.json").await, works.get("/api/v1/openapi.json").await);
    assert_eq!((first.status, second.status), (StatusCode::OK, StatusCode::OK));
    assert_eq!(first.text, second.text);
}

/// Routes for programs come from the table alone, which the document is made of, too.
#[tokio::test]
async fn the_router_has_no_other_route_for_programs_and_answers_each_of_these() {
    assert!(!include_str!("../../src/router.rs").contains("route(\"/api"));
    let works = works(Entries::OpenOnLoopback);
    for (path, verb, _) in operations(&document(&works).await) {
        let address = path.replace("{id}", "alder-2026-03-02T09:00");
        let other = if verb == "get" { "PATCH" } else { "DELETE" };
        let request = Request::builder().method(other).uri(&address).body(Body::empty()).unwrap();
        assert_eq!(works.send(request).await.status, StatusCode::METHOD_NOT_ALLOWED, "{address}");
        if verb == "post" {
            let request = Request::post(&address).body(Body::empty()).unwrap();
            let answer = works.send(request).await;
            assert!(answer.status.is_client_error() && answer.status != StatusCode::NOT_FOUND, "{address}");
        }
    }
}

/// The parameters that an address is said to take are those that it takes: it lists them itself when it is given another.
#[tokio::test]
async fn parameters_are_those_that_are_taken() {
    let works = works(Entries::Closed);
    for (path, verb, said) in operations(&document(&works).await) {
        if verb != "get" {
            continue;
        }
        let of_query =
            said["parameters"].as_array().unwrap().iter().filter(|parameter| parameter["in"] == "query");
        let said: BTreeSet<&str> = of_query.map(|parameter| parameter["name"].as_str().unwrap()).collect();
        let address = path.replace("{id}", "alder-2026-03-02T09:00") + "?no-such-thing=1";
        let detail = works.get(&address).await.json()["detail"].as_str().unwrap().to_owned();
        let list = detail.rsplit_once("takes ").unwrap().1.trim_end_matches('.');
        let taken: BTreeSet<&str> = list.split(", ").filter(|name| *name != "none").collect();
        assert_eq!(said, taken, "{address}");
    }
}

/// What is really answered has the shape that the document gives it.
#[tokio::test]
async fn answers_have_the_shapes_that_are_told() {
    let works = works(Entries::OpenOnLoopback);
    let document = document(&works).await;
    let span = "machine=alder&channel=chocolate&from=2026-03-02T11:50:00Z&to=2026-03-02T12:00:00Z";
    for (path, address) in [
        ("/api/openapi.json", "/api/openapi.json".to_owned()),
        ("/api/v1/openapi.json", "/api/v1/openapi.json".to_owned()),
        ("/api/v1/machines", "/api/v1/machines".to_owned()),
        ("/api/v1/batches", "/api/v1/batches".to_owned()),
        ("/api/v1/batches/{id}", "/api/v1/batches/alder-2026-03-02T09:00".to_owned()),
        ("/api/v1/findings", "/api/v1/findings".to_owned()),
        ("/api/v1/alarms", "/api/v1/alarms".to_owned()),
        ("/api/v1/alarms/reasons", "/api/v1/alarms/reasons".to_owned()),
        ("/api/v1/readings", format!("/api/v1/readings?{span}")),
        ("/api/v1/baselines", "/api/v1/baselines".to_owned()),
        ("/api/v1/lots", "/api/v1/lots".to_owned()),
        ("/api/v1/probe-checks", "/api/v1/probe-checks".to_owned()),
    ] {
        let answer = works.get(&address).await;
        let schema =
            &document["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["schema"];
        assert!(schema.is_object(), "{path}");
        holds(&document, schema, &answer.json(), path);
    }
    for (address, body) in [
        ("/api/v1/events", r#"{"machine":"alder","event":"note","text":"stirred"}"#),
        ("/api/v1/baselines", r#"{"machine":"alder","couverture":"dark-64","order":"freeze"}"#),
        ("/api/v1/smears", r#"{"machine":"alder"}"#),
        ("/api/v1/alarms/acknowledge", r#"{"alarm":"alder-warm-hold-2026-03-02T11:50:00Z","by":"ana"}"#),
        (
            "/api/v1/alarms/shelve",
            r#"{"machine":"alder","kind":"warm-hold","minutes":15,"reason":"valve","by":"ana"}"#,
        ),
        (
            "/api/v1/alarms/out-of-service",
            r#"{"machine":"birch","until":"2026-03-04T12:00:00Z","reason":"new stirrer","by":"rui"}"#,
        ),
        ("/api/v1/alarms/take-back", r#"{"number":1,"by":"ana"}"#),
        (
            "/api/v1/probe-checks",
            r#"{"machine":"alder","channel":"room","kind":"ice-point","as_found_c":0.1,"by":"ana"}"#,
        ),
        (
            "/api/v1/batches/alder-2026-03-02T09:00/decisions",
            r#"{"decision":"hold","reason":"seen","by":"ana"}"#,
        ),
        (
            "/api/v1/batches/alder-2026-03-02T09:00/phases",
            r#"{"phase":"soak","from":"2026-03-02T10:00:00Z","to":"2026-03-02T10:30:00Z","by":"ana","reason":"seen"}"#,
        ),
    ] {
        let path = address.replace("alder-2026-03-02T09:00", "{id}");
        let answer = works.post_json(address, body, &[]).await;
        let schema =
            &document["paths"][&path]["post"]["responses"]["201"]["content"]["application/json"]["schema"];
        assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
        holds(&document, schema, &answer.json(), address);
    }
    let fault = works.get("/api/v1/batches?limit=0").await.json();
    holds(&document, &document["components"]["schemas"]["Problem"], &fault, "a fault");
}

/// As much of JSON Schema as the document uses.
fn holds(document: &Value, schema: &Value, value: &Value, place: &str) {
    if let Err(fault) = conforms(document, schema, value, place) {
        panic!("{fault}");
    }
}

fn conforms(document: &Value, schema: &Value, value: &Value, place: &str) -> Result<(), String> {
    let of = |schema: &Value| conforms(document, schema, value, place);
    let expects =
        |is: bool, what: &str| if is { Ok(()) } else { Err(format!("{place}: {value} should be {what}")) };
    for (key, says) in schema.as_object().unwrap() {
        match key.as_str() {
            "$ref" => of(document.pointer(says.as_str().unwrap().trim_start_matches('#')).unwrap())?,
            "allOf" => says.as_array().unwrap().iter().try_for_each(of)?,
            "anyOf" => {
                expects(says.as_array().unwrap().iter().any(|one| of(one).is_ok()), &says.to_string())?
            }
            "type" => {
                let words = says.as_array().cloned().unwrap_or_else(|| vec![says.clone()]);
                expects(words.iter().any(|word| is_a(word.as_str().unwrap(), value)), &says.to_string())?;
            }
            "enum" => expects(says.as_array().unwrap().contains(value), &says.to_string())?,
            "const" => expects(says == value, &says.to_string())?,
            "format" => {
                assert_eq!(says, "date-time");
                expects(
                    value.as_str().is_none_or(|text| text.parse::<model::Timestamp>().is_ok()),
                    "a time",
                )?;
            }
            "minimum" => expects(says.as_f64().unwrap() <= value.as_f64().unwrap(), "larger")?,
            "maximum" => expects(value.as_f64().unwrap() <= says.as_f64().unwrap(), "smaller")?,
            "minItems" => {
                expects(says.as_u64().unwrap() <= value.as_array().unwrap().len() as u64, "longer")?
            }
            "maxItems" => {
                expects(value.as_array().unwrap().len() as u64 <= says.as_u64().unwrap(), "shorter")?
            }
            "required" => {
                for name in says.as_array().unwrap() {
                    expects(value.get(name.as_str().unwrap()).is_some(), &format!("there: {name}"))?;
                }
            }
            "properties" => {
                for (name, schema) in says.as_object().unwrap() {
                    let Some(value) = value.get(name) else { continue };
                    conforms(document, schema, value, &format!("{place}/{name}"))?;
                }
            }
            "additionalProperties" => {
                for (name, value) in value.as_object().unwrap() {
                    conforms(document, says, value, &format!("{place}/{name}"))?;
                }
            }
            "items" => {
                for (n, value) in value.as_array().unwrap().iter().enumerate() {
                    conforms(document, says, value, &format!("{place}/{n}"))?;
                }
            }
            "description" | "examples" => {}
            other => panic!("this test does not know `{other}` of JSON Schema"),
        }
    }
    Ok(())
}

fn is_a(word: &str, value: &Value) -> bool {
    match word {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.is_i64() || value.is_u64(),
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        other => panic!("this test does not know the type `{other}`"),
    }
}
