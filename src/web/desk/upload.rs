//! The upload form: the lens, the conditions, the files; works as a plain form.

use askama::Template;
use axum::body::Bytes;
use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{Extension, Multipart, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use futures_util::Stream;
use serde::Deserialize;

use super::html;
use crate::app::App;
use crate::store::{Lens, Upload, UploadId};
use crate::web::arrivals::{self, drain};
use crate::web::errors::FieldError;
use crate::web::inputs::{Check, ConditionsInput, LensInput, MARKED_CLOSEST_FOCUS, Typed};
use crate::web::observe::RequestId;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};
use crate::web::{Web, WebError};

/// Value of the lens choice that stands for a lens to be made.
const NEW_LENS: &str = "new";
/// Most bytes of one text field of the form.
const MAX_FIELD_BYTES: usize = 16 << 10;
/// Most text fields of the form.
const MAX_FIELDS: usize = 40;

#[derive(Template)]
#[template(path = "desk/upload.html")]
struct UploadPage {
    page: PageFrame,
    lenses: Vec<Lens>,
    /// What files call lenses: name and slug.
    names: Vec<(String, String)>,
    typed: Typed,
    errors: Vec<FieldError>,
    max_file_mb: u64,
}

impl UploadPage {
    /// What files call a lens, one name a line; the script proposes the lens by it.
    fn names_of(&self, slug: &str) -> String {
        let names = self.names.iter().filter(|(_, of)| of == slug);
        let names: Vec<&str> = names.map(|(name, _)| name.as_str()).collect();
        names.join("\n")
    }

    fn error(&self, field: &str) -> Option<&str> {
        FieldError::told(&self.errors, field)
    }
}

#[derive(Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Chosen {
    lens: String,
}

/// `GET /desk/upload?lens=`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Query(chosen): Query<Chosen>,
) -> Result<Html<String>, WebError> {
    let mut typed = Typed::default();
    typed.set("lens", chosen.lens);
    form(&app, &account, typed, Vec::new()).await
}

async fn form(
    app: &App,
    account: &SignedIn,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    html(&UploadPage {
        page: PageFrame::new("Upload a sweep", Section::Desk, &Viewer::of(account)),
        lenses: app.store.all_lenses().await?,
        names: app.store.lens_names().await?,
        typed,
        errors,
        max_file_mb: app.config.limits().max_file_bytes >> 20,
    })
}

/// `POST /desk/upload`: fields first, then files one by one. A bad file is told of on the page that follows; the others
/// are kept.
pub(in crate::web) async fn take(
    State(web): State<Web>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    mut form_data: Multipart,
) -> Result<Response, WebError> {
    let mut typed = Typed::default();
    let mut fields = 0;
    let mut upload: Option<Upload> = None;
    while let Some(field) = next_field(&mut form_data).await? {
        let name = field.name().unwrap_or_default().to_owned();
        let file_name = field.file_name().map(str::to_owned);
        match file_name {
            None => {
                fields += 1;
                if fields > MAX_FIELDS {
                    return Err(WebError::Unreadable("the form has too many fields".into()));
                }
                typed.set(name, small_text(field).await?);
            }
            // A browser sends one nameless empty file for an input that nothing was chosen in.
            Some(file_name) if file_name.is_empty() => {}
            Some(file_name) => {
                let opened = match upload.take() {
                    Some(upload) => upload,
                    None => match open(&web.app, &account, &typed, &request).await {
                        Ok(upload) => upload,
                        Err(error) => {
                            drain(&mut Box::pin(chunks(field))).await;
                            return refused(&web.app, &account, typed, error).await;
                        }
                    },
                };
                receive(&web, &opened, &file_name, field).await?;
                upload = Some(opened);
            }
        }
    }
    let Some(upload) = upload else {
        let mut check = Check::default();
        check.refuse(
            "files",
            "no file was chosen; choose the frames of a sweep, a folder or a zip archive",
        );
        checked_lens(&web.app, &typed, &mut check).await?;
        return refused(&web.app, &account, typed, WebError::Fields(check.errors)).await;
    };
    Ok(finish(&web, &upload).await?.into_response())
}

/// `POST /desk/uploads/{id}/files`: more files for an upload that is not finished.
pub(in crate::web) async fn take_more(
    State(web): State<Web>,
    account: SignedIn,
    Place(id): Place<UploadId>,
    mut form_data: Multipart,
) -> Result<Response, WebError> {
    let upload = arrivals::own_upload(&web.app, &account, id).await?;
    while let Some(field) = next_field(&mut form_data).await? {
        let file_name = field.file_name().map(str::to_owned);
        match file_name {
            Some(file_name) if !file_name.is_empty() => {
                receive(&web, &upload, &file_name, field).await?;
            }
            _ => {
                small_text(field).await?;
            }
        }
    }
    Ok(Redirect::to(&format!("/desk/uploads/{id}")).into_response())
}

/// Takes in one file of a form. One that is too large is told of like other bad files, and ends the form's reading.
async fn receive(
    web: &Web,
    upload: &Upload,
    file_name: &str,
    field: Field<'_>,
) -> Result<(), WebError> {
    let body = Box::pin(chunks(field));
    match arrivals::receive(&web.app, None, body).await {
        Ok(received) => {
            arrivals::take_in(web, upload, file_name, received).await?;
            Ok(())
        }
        Err(WebError::TooLarge(reason)) => {
            arrivals::note_refusal(&web.app, upload, file_name, reason).await?;
            Ok(())
        }
        Err(error) => Err(error),
    }
}

/// Goes on to the page of the upload; it is finished when a frame arrived.
async fn finish(web: &Web, upload: &Upload) -> Result<Redirect, WebError> {
    match arrivals::finish(web, upload.id).await {
        Ok(_) | Err(WebError::Conflict(_)) => {}
        Err(error) => return Err(error),
    }
    Ok(Redirect::to(&format!("/desk/uploads/{}", upload.id)))
}

/// The form once more, with what was typed and what is wrong.
async fn refused(
    app: &App,
    account: &SignedIn,
    typed: Typed,
    error: WebError,
) -> Result<Response, WebError> {
    let (status, errors) = match error {
        WebError::Fields(errors) => (StatusCode::UNPROCESSABLE_ENTITY, errors),
        WebError::Conflict(detail) => (
            StatusCode::CONFLICT,
            vec![FieldError {
                field: "lens".into(),
                detail,
            }],
        ),
        other => return Err(other),
    };
    Ok((status, form(app, account, typed, errors).await?).into_response())
}

/// Opens an upload by the fields of the form, making the lens where it is new.
async fn open(
    app: &App,
    account: &SignedIn,
    typed: &Typed,
    request: &RequestId,
) -> Result<Upload, WebError> {
    let mut check = Check::default();
    let conditions = ConditionsInput::typed(typed, &mut check).check(&mut check);
    let lens = checked_lens(app, typed, &mut check).await?;
    let lens = match check.finish(lens)? {
        ChosenLens::Known(lens) => lens,
        ChosenLens::New(draft) => arrivals::make_lens(app, account, &draft, request).await?,
    };
    arrivals::open(app, account, &lens, &conditions).await
}

/// The lens that was chosen or described.
enum ChosenLens {
    Known(Lens),
    New(crate::store::LensDraft),
}

async fn checked_lens(
    app: &App,
    typed: &Typed,
    check: &mut Check,
) -> Result<Option<ChosenLens>, WebError> {
    let slug = typed.get("lens");
    if slug == NEW_LENS {
        let draft = LensInput::typed(typed, check).check(MARKED_CLOSEST_FOCUS, check);
        return Ok(draft.map(ChosenLens::New));
    }
    let lens = if slug.is_empty() {
        None
    } else {
        app.store.lens_by_slug(slug).await?
    };
    if lens.is_none() {
        check.refuse(
            "lens",
            "choose a lens of the list, or “a new lens” and describe it below",
        );
    }
    Ok(lens.map(ChosenLens::Known))
}

async fn next_field(form: &mut Multipart) -> Result<Option<Field<'_>>, WebError> {
    form.next_field().await.map_err(broken_off)
}

#[allow(clippy::needless_pass_by_value, reason = "for map_err")]
fn broken_off(error: MultipartError) -> WebError {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        WebError::TooLarge("the form is too large; send fewer files at once".into())
    } else {
        WebError::Unreadable(
            "the form broke off before its end; what arrived until then is kept under “not finished” on the desk".into(),
        )
    }
}

/// The text of a field, up to [`MAX_FIELD_BYTES`].
async fn small_text(mut field: Field<'_>) -> Result<String, WebError> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(broken_off)? {
        bytes.extend_from_slice(&chunk);
        if bytes.len() > MAX_FIELD_BYTES {
            return Err(WebError::TooLarge(
                "a text field of the form is too long".into(),
            ));
        }
    }
    String::from_utf8(bytes).map_err(|_| WebError::Unreadable("a text field is not UTF-8".into()))
}

/// A file field as a stream of its bytes.
fn chunks(field: Field<'_>) -> impl Stream<Item = Result<Bytes, MultipartError>> + '_ {
    futures_util::stream::unfold(field, |mut field| async move {
        field.chunk().await.transpose().map(|chunk| (chunk, field))
    })
}
