#[path = "mod.rs"]
mod scenes;
use tintwell::card::design::Design;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, decode};
fn main() {
    for f in std::env::args().skip(1) {
        let p = decode(&std::fs::read(&f).unwrap(), &Limits::default()).unwrap();
        match look(&p, &Where::Card(Design::all())) {
            Ok(l) => {
                let v = l.vial.unwrap();
                println!("{} left {:.1} right {:.1} top {:.1} bottom {:.1} clarity {:.1}", f.rsplit('/').next().unwrap(), v.left, v.right, v.top, v.bottom, v.clarity);
                // bay picture
                let b = &l.bay;
                let mut im = image::RgbImage::new(b.nx as u32, b.ny as u32);
                for j in 0..b.ny { for i in 0..b.nx {
                    let d = b.against_paper(i, j);
                    let (x, y) = b.point(i, j);
                    let edge = (x - v.left).abs() < b.step || (x - v.right).abs() < b.step || (y-v.top).abs() < b.step || (y-v.bottom).abs() < b.step;
                    let px = if edge { [255, 0, 0] } else { [0, 1, 2].map(|c| ((d[c].exp().min(1.2) / 1.2).powf(1.0 / 2.2) * 255.0) as u8) };
                    im.put_pixel(i as u32, j as u32, image::Rgb(px));
                }}
                im.save(format!("/tmp/bay-{}.png", f.rsplit('/').next().unwrap())).unwrap();
            }
            Err(e) => println!("{f}: {e}"),
        }
    }
}
