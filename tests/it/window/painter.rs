//! Paints what the window laid out, point by point, without a graphics driver: the same picture on every machine.
//!
//! Triangles with colours and one texture each, blended as egui's own painters do: premultiplied, in gamma space. A
//! point belongs to the triangle that holds its middle; one on an edge to the triangle on whose upper or left side it
//! lies, so that neighbours share none. The library has a painter on a graphics driver only, which test machines lack.

use std::collections::HashMap;

use eframe::egui::epaint::{ImageDelta, Mesh, Primitive, Vertex};
use eframe::egui::{Color32, Context, FullOutput, ImageData, Pos2, Rect, TextureId, TexturesDelta, pos2, vec2};
use egui_kittest::TestRenderer;
use image::{Rgba, RgbaImage};

#[derive(Default)]
pub struct Painter {
    textures: HashMap<TextureId, Texture>,
}

struct Texture {
    size: [usize; 2],
    points: Vec<Color32>,
}

impl TestRenderer for Painter {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        for (id, changes) in delta.set.drain() {
            for change in changes {
                self.change(id, &change);
            }
        }
        for id in delta.free.drain() {
            self.textures.remove(&id);
        }
    }

    fn render(&mut self, context: &Context, output: &FullOutput) -> Result<RgbaImage, String> {
        let scale = output.pixels_per_point;
        let size = context.content_rect().size() * scale;
        let mut picture = RgbaImage::from_pixel(size.x as u32, size.y as u32, Rgba([0, 0, 0, 255]));
        for clipped in context.tessellate(output.shapes.clone(), scale) {
            let Primitive::Mesh(mesh) = clipped.primitive else { return Err("a shape that is no mesh".into()) };
            let texture = self.textures.get(&mesh.texture_id).ok_or("a texture that nobody gave")?;
            texture.paint(&mesh, clipped.clip_rect * scale, scale, &mut picture);
        }
        Ok(picture)
    }
}

impl Painter {
    /// The whole texture, or a part of it.
    fn change(&mut self, id: TextureId, change: &ImageDelta) {
        let ImageData::Color(image) = &change.image;
        let [wide, _] = image.size;
        match (change.pos, self.textures.get_mut(&id)) {
            (Some([left, top]), Some(texture)) => {
                for (row, line) in image.pixels.chunks_exact(wide).enumerate() {
                    let from = (top + row) * texture.size[0] + left;
                    texture.points[from..from + wide].copy_from_slice(line);
                }
            }
            _ => {
                self.textures.insert(id, Texture { size: image.size, points: image.pixels.clone() });
            }
        }
    }
}

impl Texture {
    fn paint(&self, mesh: &Mesh, clip: Rect, scale: f32, picture: &mut RgbaImage) {
        let whole = Rect::from_min_size(Pos2::ZERO, vec2(picture.width() as f32, picture.height() as f32));
        let clip = Rect::from_min_max(clip.min.round(), clip.max.round()).intersect(whole);
        for corners in mesh.indices.chunks_exact(3) {
            let corner = |index: usize| {
                let vertex = mesh.vertices[corners[index] as usize];
                Vertex { pos: vertex.pos * scale, ..vertex }
            };
            self.triangle([corner(0), corner(1), corner(2)], clip, picture);
        }
    }

    fn triangle(&self, [a, b, c]: [Vertex; 3], clip: Rect, picture: &mut RgbaImage) {
        let area = side(a.pos, b.pos, c.pos);
        if area == 0.0 {
            return;
        }
        // Turned the same way round, whichever way it came.
        let (b, c) = if area > 0.0 { (b, c) } else { (c, b) };
        let area = area.abs();
        let around = Rect::from_points(&[a.pos, b.pos, c.pos]).intersect(clip);
        if around.is_negative() {
            return;
        }
        let owned = [(b, c), (c, a), (a, b)].map(|(from, to)| owns(from.pos, to.pos));
        for y in around.top().floor() as u32..around.bottom().ceil() as u32 {
            for x in around.left().floor() as u32..around.right().ceil() as u32 {
                let middle = pos2(x as f32 + 0.5, y as f32 + 0.5);
                if !clip.contains(middle) {
                    continue;
                }
                let shares = [(b, c), (c, a), (a, b)].map(|(from, to)| side(from.pos, to.pos, middle));
                if shares.iter().zip(owned).any(|(share, owned)| *share < 0.0 || (*share == 0.0 && !owned)) {
                    continue;
                }
                let mix = |value: &dyn Fn(&Vertex) -> f32| {
                    [a, b, c].iter().zip(shares).map(|(corner, share)| value(corner) * share / area).sum::<f32>()
                };
                let texel = self.at(mix(&|corner| corner.uv.x), mix(&|corner| corner.uv.y));
                let color: [f32; 4] =
                    std::array::from_fn(|part| texel[part] * mix(&|corner| f32::from(corner.color[part])) / 255.0);
                let point = &mut picture.get_pixel_mut(x, y).0;
                for (under, over) in point.iter_mut().zip(color) {
                    *under = f32::from(*under).mul_add(1.0 - color[3] / 255.0, over).round().clamp(0.0, 255.0) as u8;
                }
            }
        }
    }

    /// Between the four nearest points.
    fn at(&self, u: f32, v: f32) -> [f32; 4] {
        let [wide, high] = self.size;
        let (x, y) = (u * wide as f32 - 0.5, v * high as f32 - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let point = |x: f32, y: f32| {
            let (x, y) = (x.clamp(0.0, wide as f32 - 1.0) as usize, y.clamp(0.0, high as f32 - 1.0) as usize);
            self.points[y * wide + x].to_array().map(f32::from)
        };
        let (right_share, lower_share) = (x - left, y - top);
        let [a, b, c, d] = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)].map(|(dx, dy)| point(left + dx, top + dy));
        std::array::from_fn(|part| {
            let upper = a[part] + (b[part] - a[part]) * right_share;
            let lower = c[part] + (d[part] - c[part]) * right_share;
            upper + (lower - upper) * lower_share
        })
    }
}

/// Twice the area of the triangle; which sign it has tells on which side of the edge the point lies.
fn side(from: Pos2, to: Pos2, point: Pos2) -> f32 {
    (to.x - from.x) * (point.y - from.y) - (to.y - from.y) * (point.x - from.x)
}

/// Whether points on this edge are the triangle's own: an upper or a left edge.
fn owns(from: Pos2, to: Pos2) -> bool {
    to.y < from.y || (to.y == from.y && to.x > from.x)
}
