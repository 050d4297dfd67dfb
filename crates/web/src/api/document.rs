//! The table as an OpenAPI 3.1 document.

use std::sync::LazyLock;

use model::{Channel, FindingKind};
use serde_json::{Map, Value, json};

use super::operation::{Answer, Operation, Parameter, Takes, Verb};
use super::schemas::{machine, schemas};
use super::table::operations;
use crate::problem::Problem;
use crate::query::Params;

/// Any address may answer these.
const FAULTS_OF_ALL: [(u16, &str); 3] = [
    (400, "A parameter or field is missing, unknown, or cannot be read."),
    (405, "The address does not take that kind of request."),
    (500, "Something went wrong on our side."),
];

/// And so may any that takes a body.
const FAULTS_OF_ENTRIES: [(u16, &str); 6] = [
    (401, "Nobody has signed in, and nothing is open without."),
    (403, "From a page of another site, or not for this role."),
    (409, "A request with this key is being worked on, or its outcome is not known."),
    (413, "The body is larger than is read here."),
    (415, "The body is not JSON, or does not say so."),
    (422, "It can be read, and makes no sense; or the key was used for another body."),
];

static DOCUMENT: LazyLock<Value> = LazyLock::new(openapi);

/// `GET /api/openapi.json`, and the same below `/api/v1`.
pub(super) async fn answer(params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    Ok(axum::Json(DOCUMENT.clone()))
}

/// The document of everything in the table.
fn openapi() -> Value {
    let mut paths = Map::new();
    for operation in operations() {
        let verbs = paths.entry(operation.path).or_insert_with(|| json!({}));
        verbs[operation.verb.key()] = described(operation);
    }
    json!({
        "openapi": "3.1.1",
        "info": {
            "title": "Halfdegree",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "What machines, batches and findings there are, and entries by programs. Temperatures are °C, times RFC 3339. \
                Temperature alone never proves temper; only a temper test does.",
            "license": { "name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0" },
        },
        "servers": [{ "url": "/" }],
        "paths": paths,
        "components": { "schemas": schemas() },
    })
}

fn described(operation: &Operation) -> Value {
    let mut parameters: Vec<Value> = Vec::new();
    if let Some((name, says)) = operation.named {
        parameters.push(json!({
            "name": name, "in": "path", "required": true, "description": says, "schema": { "type": "string" },
        }));
    }
    parameters.extend(operation.parameters.iter().map(in_query));
    if operation.body.is_some() {
        parameters.push(idempotency_key());
    }
    let mut described = json!({
        "operationId": operation.id, "summary": operation.says, "parameters": parameters, "responses": answers(operation),
    });
    if let Some(schema) = operation.body {
        described["requestBody"] =
            json!({ "required": true, "content": { "application/json": { "schema": reference(schema) } } });
    }
    described
}

fn in_query(parameter: &Parameter) -> Value {
    json!({
        "name": parameter.name, "in": "query", "required": parameter.required, "description": parameter.says,
        "schema": parameter.takes.schema(),
    })
}

fn idempotency_key() -> Value {
    json!({
        "name": "Idempotency-Key", "in": "header", "required": false,
        "description": "Any words of the caller's own, in quotation marks. A second request with the same key and body is answered like the \
            first and enters nothing.",
        "schema": { "type": "string", "pattern": crate::once::KEY_PATTERN },
    })
}

fn answers(operation: &Operation) -> Value {
    let mut answers = Map::new();
    for Answer { status, media_type, schema, says } in operation.answers {
        let answer = answers
            .entry(status.to_string())
            .or_insert_with(|| json!({ "description": says, "content": {} }));
        answer["content"][*media_type] =
            schema.map_or_else(|| json!({}), |schema| json!({ "schema": reference(schema) }));
    }
    let of_entries = operation.body.map_or(&[][..], |_| &FAULTS_OF_ENTRIES[..]);
    for (status, says) in operation.faults.iter().chain(of_entries).chain(&FAULTS_OF_ALL) {
        answers.entry(status.to_string()).or_insert_with(|| {
            json!({
                "description": says, "content": { "application/problem+json": { "schema": reference("Problem") } },
            })
        });
    }
    Value::Object(answers)
}

fn reference(schema: &str) -> Value {
    json!({ "$ref": format!("#/components/schemas/{schema}") })
}

impl Verb {
    fn key(self) -> &'static str {
        match self {
            Verb::Get => "get",
            Verb::Post => "post",
        }
    }
}

impl Takes {
    fn schema(self) -> Value {
        match self {
            Takes::Text => json!({ "type": "string" }),
            Takes::Machine => machine(),
            Takes::Time => json!({ "type": "string", "format": "date-time" }),
            Takes::Count(least, most) => json!({ "type": "integer", "minimum": least, "maximum": most }),
            Takes::Words(words) => json!({ "type": "string", "enum": words }),
            Takes::Channel => json!({ "type": "string", "enum": Channel::ALL.map(Channel::as_str) }),
            Takes::FindingKind => {
                let kinds: Vec<_> = FindingKind::ALL.iter().map(|kind| kind.as_str()).collect();
                json!({ "type": "string", "enum": kinds })
            }
        }
    }
}
