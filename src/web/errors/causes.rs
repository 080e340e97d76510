//! What the rooms below complain of, as the web says it: the only mapping, without a catch-all.

use super::WebError;
use crate::app::ReceiveError;
use crate::charts::ChartError;
use crate::intake::IntakeError;
use crate::store::StoreError;
use crate::units::OutOfRange;

impl From<StoreError> for WebError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Busy => Self::Busy { retry_after_s: 5 },
            StoreError::Unwritable(_) => {
                Self::Unwritable("the data folder is full or can't be written".into())
            }
            StoreError::Conflict(what) => Self::Conflict(what),
            StoreError::OtherBytes(_) | StoreError::AlreadyPublic => {
                Self::Conflict(error.to_string())
            }
            StoreError::NewerSchema(_)
            | StoreError::OlderSchema(_)
            | StoreError::Damaged(_)
            | StoreError::Sqlite(_) => Self::inside(error),
        }
    }
}

impl From<IntakeError> for WebError {
    fn from(error: IntakeError) -> Self {
        match error {
            IntakeError::Empty
            | IntakeError::NotAPicture
            | IntakeError::TooLarge { .. }
            | IntakeError::TooMuchAtOnce { .. }
            | IntakeError::Damaged(_)
            | IntakeError::Archive(_)
            | IntakeError::PassedOver(_)
            | IntakeError::Distances { .. }
            | IntakeError::Name(_) => Self::UnusableFile(error.to_string()),
            IntakeError::TooManyBytes { .. } => Self::TooLarge(error.to_string()),
            IntakeError::Io(cause) => match cause.kind() {
                std::io::ErrorKind::StorageFull
                | std::io::ErrorKind::QuotaExceeded
                | std::io::ErrorKind::ReadOnlyFilesystem => {
                    Self::Unwritable("the data folder is full or can't be written".into())
                }
                _ => Self::inside(cause),
            },
        }
    }
}

impl From<ReceiveError> for WebError {
    fn from(error: ReceiveError) -> Self {
        match error {
            ReceiveError::Intake(error) => error.into(),
            ReceiveError::Store(error) => error.into(),
            ReceiveError::Fault(error) => error.into(),
        }
    }
}

impl From<OutOfRange> for WebError {
    fn from(error: OutOfRange) -> Self {
        Self::field(error.quantity, error.to_string())
    }
}

impl From<ChartError> for WebError {
    fn from(error: ChartError) -> Self {
        Self::field("width", error.to_string())
    }
}

impl From<askama::Error> for WebError {
    fn from(error: askama::Error) -> Self {
        Self::inside(error)
    }
}

impl From<tokio::task::JoinError> for WebError {
    fn from(error: tokio::task::JoinError) -> Self {
        Self::inside(error)
    }
}
