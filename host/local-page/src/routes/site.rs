//! Site files: checked, kept, chosen, made of answers.

use super::{App, BUSY, conflict, line_order, line_taken, office, read};
use crate::answer::{self, Answer};
use crate::office::OfficeError;
use crate::worker::Order;
use axum::http::StatusCode;
use pumpwitness_site_file::questions::{Answers, QUESTIONS, plainly};
use pumpwitness_site_file::{Site, parse};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::Arc;

#[derive(Deserialize)]
struct Text {
    toml: String,
}

#[derive(Deserialize)]
struct File {
    file: String,
}

#[derive(Deserialize)]
struct Plan {
    answers: BTreeMap<String, String>,
}

pub async fn known(app: &Arc<App>) -> Answer {
    office(app, |office| office.sites(), |sites| answer::json(&sites)).await
}

pub async fn sheet(app: &Arc<App>) -> Answer {
    let Some(toml) = app.board.of(|shown| shown.site.as_ref().map(|site| site.toml.clone())) else {
        return answer::refused(StatusCode::NOT_FOUND, "choose the site first");
    };
    office(
        app,
        move |office| office.sheet(&toml),
        |pdf| answer::download("fitting-sheet.pdf", "application/pdf", pdf),
    )
    .await
}

fn checked(toml: &str) -> Result<Site, String> {
    let site = parse(toml).map_err(|error| error.to_string())?;
    if let Some(name) = &site.time_zone
        && jiff::tz::TimeZone::get(name).is_err()
    {
        return Err(format!(
            "{name} is no time zone known here: write it as Region/City, such as Europe/Lisbon"
        ));
    }
    Ok(site)
}

/// Checks a site file, keeps it, and uses it.
pub async fn text(app: &Arc<App>, body: &[u8]) -> Answer {
    let Text { toml } = match read(body) {
        Ok(text) => text,
        Err(answer) => return answer,
    };
    if line_taken(app) {
        return conflict(BUSY);
    }
    let site = match checked(&toml) {
        Ok(site) => site,
        Err(why) => return answer::refused(StatusCode::UNPROCESSABLE_ENTITY, &why),
    };
    office(
        app,
        move |office| office.keep_site(&toml).map(|file| (file, toml)),
        |(file, toml)| line_order(app, Order::Site(Box::new(site), toml, file)),
    )
    .await
}

/// Uses a site file known to the folder.
pub async fn file(app: &Arc<App>, body: &[u8]) -> Answer {
    let File { file } = match read(body) {
        Ok(file) => file,
        Err(answer) => return answer,
    };
    if line_taken(app) {
        return conflict(BUSY);
    }
    office(
        app,
        move |office| {
            let toml = office.site_text(&file)?;
            let site = checked(&toml)
                .map_err(|why| OfficeError::Failed(format!("site file {file}: {why}")))?;
            Ok((site, toml, file))
        },
        |(site, toml, file)| line_order(app, Order::Site(Box::new(site), toml, file)),
    )
    .await
}

/// What is asked for a site file.
pub fn questions() -> Answer {
    let list: Vec<Value> = QUESTIONS
        .iter()
        .map(|question| {
            json!({
                "key": format!("{}.{}", question.section, question.key),
                "section": question.section,
                "ask": question.asks,
                "unit": question.unit,
                "default": question.otherwise,
                "choices": (!question.choices.is_empty()).then_some(question.choices),
                "needed": question.needed,
                "only_if": question.only_if.map(|(section, key, is)| {
                    json!({ "key": format!("{section}.{key}"), "is": is })
                }),
            })
        })
        .collect();
    answer::json(&list)
}

/// Makes a site file of answers.
pub fn plan(body: &[u8]) -> Answer {
    let Plan { answers: given } = match read(body) {
        Ok(plan) => plan,
        Err(answer) => return answer,
    };
    let mut answers = Answers::default();
    for (name, value) in &given {
        match name.split_once('.') {
            Some((section, key)) if plain_key(section) && plain_key(key) => {
                answers.answer(section, key, value.trim());
            }
            _ => return wrong(Some(name), "this is no key of the site file"),
        }
    }
    let toml = answers.text();
    match checked(&toml) {
        Ok(site) => answer::json(&json!({ "toml": toml, "warnings": site.warnings() })),
        Err(_) => match parse(&toml) {
            Ok(_) => wrong(Some("site.time_zone"), "no such time zone: write it as Region/City"),
            Err(error) => {
                let key = answers.blamed(&error).map(|(section, key)| format!("{section}.{key}"));
                wrong(key.as_deref(), &plainly(&error))
            }
        },
    }
}

/// What a key of TOML may be without quotes.
fn plain_key(key: &str) -> bool {
    !key.is_empty() && key.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"_-".contains(&byte))
}

fn wrong(key: Option<&str>, why: &str) -> Answer {
    answer::with_status(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "error": why, "key": key }))
}
