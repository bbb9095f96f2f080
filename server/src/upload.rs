//! # Files of any length
//!
//! A recorded profile is worked through while it comes: a piece is read on threads of lower priority while the next one is
//! on its way, and nothing of it is kept. So there is no limit on its length and on its time, but on how many there are at
//! once, and on how slowly it may come. Who leaves is worked for to the end of the piece at hand.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use axum::body::Body;
use bytes::Bytes;
use http_body_util::BodyExt;
use sensewright_core::field::{FieldError, few_enough};
use sensewright_core::profile::{Profile, ProfileInput, ProfileOutput};
use tokio::sync::oneshot;
use tokio::time::{Instant, timeout, timeout_at};

use crate::error::Fault;
use crate::form::Pair;
use crate::multipart::{Event, Parts, Wrong};
use crate::uploads::Uploads;

/// What is worked on at once.
const PIECE: usize = 512 * 1_024;
/// So much has to come in each [`STALL`].
const PACE: usize = 64 * 1_024;
/// How long a file may stand still.
const STALL: Duration = Duration::from_secs(20);
/// The most bytes of all parts that are no file.
const MOST_OPTIONS: usize = 64 * 1_024;
/// How long the rest of a refused file is thrown away, so that its sender comes to read why.
const TO_THE_END: Duration = Duration::from_secs(5);

/// How far a file has come.
#[derive(Debug, Default)]
pub struct Course {
    /// Rows that were read.
    pub rows: AtomicU64,
    /// Bytes that came.
    pub bytes: AtomicU64,
}

/// How a file is sent.
#[derive(Debug)]
pub enum Carrier {
    /// As the body itself; its options are known.
    Raw(Box<ProfileInput>),
    /// As a part of a form.
    Parts(Box<Parts>),
}

/// What became of a file.
#[derive(Debug)]
pub struct Received {
    /// What was asked.
    pub input: ProfileInput,
    /// What it is.
    pub output: ProfileOutput,
    /// The fields that came with it.
    pub pairs: Vec<Pair>,
}

/// Why there is no answer, and the fields that came with the file.
#[derive(Debug)]
pub struct Refused {
    /// What is wrong.
    pub fault: Fault,
    /// The fields.
    pub pairs: Vec<Pair>,
}

/// Makes a question of the fields that come before a file.
pub type Ask = fn(&[Pair]) -> Result<ProfileInput, Vec<FieldError>>;

/// Works a file through while it comes.
///
/// # Errors
/// What is wrong with file, fields and body.
pub async fn receive(
    uploads: &Uploads,
    carrier: Carrier,
    ask: Ask,
    body: Body,
    course: &Arc<Course>,
) -> Result<Received, Refused> {
    let mut intake = Intake::new(carrier, ask);
    match through(uploads, &mut intake, body, course).await {
        Ok((input, output)) => Ok(Received { input, output, pairs: intake.pairs }),
        Err(fault) => Err(Refused { fault, pairs: intake.pairs }),
    }
}

async fn through(
    uploads: &Uploads,
    intake: &mut Intake,
    mut body: Body,
    course: &Arc<Course>,
) -> Result<(ProfileInput, ProfileOutput), Fault> {
    let mut working: Option<oneshot::Receiver<Piece>> = None;
    let mut spare = Vec::with_capacity(PIECE + PACE);
    let (mut until, mut came) = (Instant::now() + STALL, 0);
    while let Some(data) = next(&mut body, until).await? {
        came += data.len();
        if came >= PACE {
            (until, came) = (Instant::now() + STALL, 0);
        }
        course.bytes.fetch_add(data.len() as u64, Ordering::Relaxed);
        if let Err(fault) = intake.take(&data) {
            to_the_end(body).await;
            return Err(fault);
        }
        if intake.piece.len() < PIECE {
            continue;
        }
        if let Some(done) = working.take() {
            let piece = done.await.map_err(|_| Fault::Leaving)?;
            if !piece.useful {
                to_the_end(body).await;
                return piece.profile.finish().map_or_else(|refusal| Err(refusal.into()), |_| Err(Fault::Broken));
            }
            intake.profile = Some(piece.profile);
            spare = piece.bytes;
        }
        if let Some(profile) = intake.profile.take() {
            let bytes = std::mem::replace(&mut intake.piece, std::mem::take(&mut spare));
            let course = Arc::clone(course);
            working = Some(uploads.run(move || Piece::work(profile, bytes, &course)));
        }
    }
    if let Some(done) = working.take() {
        intake.profile = Some(done.await.map_err(|_| Fault::Leaving)?.profile);
    }
    let (input, profile) = intake.finish()?;
    let last = std::mem::take(&mut intake.piece);
    let told = Arc::clone(course);
    let finished = uploads.run(move || Piece::work(profile, last, &told).profile.finish());
    let output = finished.await.map_err(|_| Fault::Leaving)??;
    course.rows.store(output.lines.rows, Ordering::Relaxed);
    Ok((input, output))
}

/// What comes next of a body; nothing at its end.
async fn next(body: &mut Body, until: Instant) -> Result<Option<Bytes>, Fault> {
    loop {
        let Some(frame) = timeout_at(until, body.frame()).await.map_err(|_| Fault::Slow)? else { return Ok(None) };
        if let Ok(data) = frame.map_err(|_| Fault::Broken)?.into_data() {
            return Ok(Some(data));
        }
    }
}

/// Throws the rest of a body away.
async fn to_the_end(mut body: Body) {
    let _ = timeout(TO_THE_END, async { while matches!(body.frame().await, Some(Ok(_))) {} }).await;
}

/// A piece on its way through.
struct Piece {
    profile: Box<Profile>,
    bytes: Vec<u8>,
    /// Whether more is of any use.
    useful: bool,
}

impl Piece {
    fn work(mut profile: Box<Profile>, mut bytes: Vec<u8>, course: &Course) -> Self {
        let useful = profile.push(&bytes);
        // Told at once: the next piece may be long in coming.
        course.rows.store(profile.rows(), Ordering::Relaxed);
        bytes.clear();
        Self { profile, bytes, useful }
    }
}

/// Which part of a form is coming.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
enum Coming {
    #[default]
    Nothing,
    Field(String),
    File,
}

/// Takes a body apart: fields, then the file.
struct Intake {
    parts: Option<Box<Parts>>,
    ask: Ask,
    input: Option<ProfileInput>,
    profile: Option<Box<Profile>>,
    coming: Coming,
    field: Vec<u8>,
    fields: usize,
    pairs: Vec<Pair>,
    /// What came of the file and is not worked on yet.
    piece: Vec<u8>,
}

impl Intake {
    fn new(carrier: Carrier, ask: Ask) -> Self {
        let (parts, input) = match carrier {
            Carrier::Raw(input) => (None, Some(*input)),
            Carrier::Parts(parts) => (Some(parts), None),
        };
        let profile = input.clone().map(|input| Box::new(Profile::new(input)));
        Self {
            parts,
            ask,
            input,
            profile,
            coming: Coming::Nothing,
            field: Vec::new(),
            fields: 0,
            pairs: Vec::new(),
            piece: Vec::with_capacity(PIECE + PACE),
        }
    }

    fn take(&mut self, data: &[u8]) -> Result<(), Fault> {
        let Some(mut parts) = self.parts.take() else {
            self.piece.extend_from_slice(data);
            return Ok(());
        };
        let taken = parts.push(data, &mut |event| self.event(event));
        self.parts = Some(parts);
        taken
    }

    fn event(&mut self, event: Event) -> Result<(), Fault> {
        match (event, &self.coming) {
            (Event::Begin(_), _) if self.input.is_some() => Err(form_fault("after-file", "The file is the last part.")),
            (Event::Begin("file"), _) => {
                let input = (self.ask)(&self.pairs).map_err(Fault::Invalid)?;
                self.profile = Some(Box::new(Profile::new(input.clone())));
                self.input = Some(input);
                self.coming = Coming::File;
                Ok(())
            }
            (Event::Begin(name), _) => {
                few_enough(self.pairs.len() + 1).map_err(|fault| Fault::Invalid(vec![fault]))?;
                self.coming = Coming::Field(name.to_owned());
                Ok(())
            }
            (Event::Data(data), Coming::File) => {
                self.piece.extend_from_slice(data);
                Ok(())
            }
            (Event::Data(data), _) => {
                self.fields += data.len();
                if self.fields > MOST_OPTIONS {
                    return Err(Fault::TooLarge { most: MOST_OPTIONS });
                }
                self.field.extend_from_slice(data);
                Ok(())
            }
            (Event::End, Coming::Field(name)) => {
                let text = String::from_utf8_lossy(&self.field).into_owned();
                self.pairs.push((name.clone(), text));
                self.field.clear();
                self.coming = Coming::Nothing;
                Ok(())
            }
            (Event::End, _) => {
                self.coming = Coming::Nothing;
                Ok(())
            }
        }
    }

    fn finish(&mut self) -> Result<(ProfileInput, Box<Profile>), Fault> {
        if let Some(parts) = &self.parts {
            parts.finish()?;
        }
        let file = self.input.take().zip(self.profile.take());
        file.ok_or_else(|| form_fault("required", "There is no part with the name file."))
    }
}

impl From<Wrong> for Fault {
    fn from(wrong: Wrong) -> Self {
        match wrong {
            Wrong::Head => form_fault("unreadable", "A part of the form has no name, or a head that cannot be read."),
            Wrong::Cut => Self::Broken,
        }
    }
}

impl From<sensewright_core::profile::Refusal> for Fault {
    fn from(refusal: sensewright_core::profile::Refusal) -> Self {
        Self::Unread { faults: refusal.faults, count: refusal.count }
    }
}

fn form_fault(code: &str, message: &str) -> Fault {
    Fault::Invalid(vec![FieldError {
        field: "/file".into(),
        code: code.into(),
        message: message.into(),
        accepted: "options first, the file last".into(),
        got: String::new(),
    }])
}
