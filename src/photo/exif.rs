//! Facts of the capture, from EXIF.
/// Facts of the capture.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize)]
pub struct CaptureFacts {}
