//! Where the phone is: a pinhole camera before the card.
//!
//! Scene space, mm: x right along the card, y up from the fold, z from the card towards the viewer; the card's face is the
//! plane z = 0, its bottom left corner the origin. Photo space: pixels, x right, y down, pixel centres at integer + 0.5.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::Vec3;
use super::layout::Layout;
use super::seed::normal;

/// The phone's place relative to the card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Angle between the card's normal and the line of sight, degrees.
    pub tilt_deg: f64,
    /// From which side: 0 = from the right, 90 = from above.
    pub from_deg: f64,
    /// Turn of the phone about its line of sight, degrees.
    pub roll_deg: f64,
    /// Share of the frame's width that the card covers; less if it would not fit into the height.
    pub cover: f64,
    /// Where the phone points, mm off the card's centre.
    pub aim_mm: [f64; 2],
}

impl Pose {
    /// Held by hand, nearly straight before the card, level with the vial or a little from above.
    pub fn hand(rng: &mut ChaCha8Rng) -> Pose {
        let (aside, above) = (
            4.0 * normal(rng),
            (6.0 + 4.0 * normal(rng)).clamp(-2.0, 16.0),
        );
        Pose {
            tilt_deg: f64::hypot(aside, above),
            from_deg: above.atan2(aside).to_degrees(),
            roll_deg: 2.0 * normal(rng),
            cover: rng.random_range(0.58..0.72),
            aim_mm: [4.0 * normal(rng), 4.0 * normal(rng)],
        }
    }
}

/// The camera of a pose.
#[derive(Debug, Clone)]
pub struct Camera {
    pub at: Vec3,
    forward: Vec3,
    right: Vec3,
    up: Vec3,
    focal_px: f64,
    centre: [f64; 2],
    distortion: f64,
    half_diagonal: f64,
}

impl Camera {
    pub fn new(
        pose: &Pose,
        size: (u32, u32),
        field_deg: f64,
        distortion: f64,
        card: &Layout,
    ) -> Camera {
        let (w, h) = (f64::from(size.0), f64::from(size.1));
        let focal_px = w.max(h) / 2.0 / (field_deg.to_radians() / 2.0).tan();
        let (sin, cos) = pose.roll_deg.to_radians().sin_cos();
        let wide = card.width_mm * cos.abs() + card.height_mm * sin.abs();
        let tall = card.width_mm * sin.abs() + card.height_mm * cos.abs();
        let px_per_mm = (pose.cover * w / wide).min(0.92 * h / tall);
        let target = Vec3::new(
            card.width_mm / 2.0 + pose.aim_mm[0],
            card.height_mm / 2.0 + pose.aim_mm[1],
            0.0,
        );
        let (tilt, from) = (pose.tilt_deg.to_radians(), pose.from_deg.to_radians());
        let towards = Vec3::new(tilt.sin() * from.cos(), tilt.sin() * from.sin(), tilt.cos());
        let at = target + towards * (focal_px / px_per_mm);
        let forward = -towards;
        let right = forward.cross(&Vec3::y()).normalize();
        let up = right.cross(&forward);
        Camera {
            at,
            forward,
            right: right * cos + up * sin,
            up: up * cos - right * sin,
            focal_px,
            centre: [w / 2.0, h / 2.0],
            distortion,
            half_diagonal: 0.5 * w.hypot(h),
        }
    }

    /// Unit direction of the ray through a photo point.
    pub fn ray(&self, u: f64, v: f64) -> Vec3 {
        let (x, y) = (u - self.centre[0], v - self.centre[1]);
        let s = 1.0 + self.distortion * (x * x + y * y) / self.half_diagonal.powi(2);
        (self.forward * self.focal_px + self.right * (x * s) - self.up * (y * s)).normalize()
    }

    /// Photo point of a scene point.
    pub fn project(&self, p: &Vec3) -> [f64; 2] {
        let q = p - self.at;
        let z = q.dot(&self.forward);
        let (x, y) = (
            self.focal_px * q.dot(&self.right) / z,
            -self.focal_px * q.dot(&self.up) / z,
        );
        let (mut u, mut v) = (x, y);
        for _ in 0..6 {
            let s = 1.0 + self.distortion * (u * u + v * v) / self.half_diagonal.powi(2);
            (u, v) = (x / s, y / s);
        }
        [u + self.centre[0], v + self.centre[1]]
    }

    /// The homography from card millimetres (origin top left, y down) to photo pixels, of the flat card without lens distortion.
    pub fn card_to_photo(&self, height_mm: f64) -> [[f64; 3]; 3] {
        let column = |v: &Vec3| {
            let z = v.dot(&self.forward);
            [
                self.focal_px * v.dot(&self.right) + self.centre[0] * z,
                -self.focal_px * v.dot(&self.up) + self.centre[1] * z,
                z,
            ]
        };
        let (a, b, c) = (
            column(&Vec3::x()),
            column(&-Vec3::y()),
            column(&(Vec3::new(0.0, height_mm, 0.0) - self.at)),
        );
        std::array::from_fn(|r| [a[r], b[r], c[r]])
    }
}
