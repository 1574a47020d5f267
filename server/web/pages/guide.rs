//! What holds for every session: how verdicts are reached, and what a setup file may say.

use askama::Template;
use axum::response::Html;

use super::Places;
use crate::setup::EXAMPLE;
use crate::web::error::PageFailure;

#[derive(Template)]
#[template(path = "pages/decides.html")]
struct DecidesPage {
    places: Places,
}

#[derive(Template)]
#[template(path = "pages/setup_file.html")]
struct SetupFilePage {
    places: Places,
    example: &'static str,
}

/// How verdicts are reached and what can't be known.
pub async fn how_it_decides() -> Result<Html<String>, PageFailure> {
    let page = DecidesPage {
        places: Places::none(),
    };
    Ok(Html(page.render()?))
}

/// The setup file with every key explained.
pub async fn setup_file() -> Result<Html<String>, PageFailure> {
    let page = SetupFilePage {
        places: Places::none(),
        example: EXAMPLE,
    };
    Ok(Html(page.render()?))
}
