//! The files of a piece: its art and those of its layers, read and opened.

use std::path::Path;
use std::sync::Arc;

use super::failure::Failure;
use super::source::Source;
use crate::art::{self, Art, Opening};
use crate::job::asked::LayerJob;
use crate::job::{Brief, Plan, file_name};
use crate::pipeline::{Layer, SharedLayers, Shown, layers};

/// The files of a piece.
pub struct Sources {
    /// Its art's.
    pub art: Option<Source>,
    /// Its layers', one each; `None` for a layer without a file.
    pub layers: Vec<Option<Source>>,
}

/// What lies on a piece, opened.
pub enum Opened {
    /// One picture, and its name.
    Art(Box<Art>, String),
    /// Layers.
    Layers(Vec<Arc<Layer>>),
}

impl Sources {
    /// Reads those that a job names, and settles it with what is known of them; `folder` is where its files will lie.
    pub fn settled(brief: &mut Brief, folder: &Path) -> Result<(Sources, Plan), Failure> {
        let art = brief.job.art.file.as_deref().map(file_name::path);
        let sources = Sources::read(art.as_deref(), &brief.job.layers)?;
        brief.art = sources.art.as_ref().map(|s| s.art_file(folder));
        brief.layers = sources.layers.iter().map(|s| s.as_ref().map(|s| s.art_file(folder))).collect();
        let plan = brief.settle()?;
        Ok((sources, plan))
    }

    fn read(art: Option<&Path>, layers: &[LayerJob]) -> Result<Sources, Failure> {
        let of_layer =
            |l: &LayerJob| l.file.as_deref().map(|f| Source::read(&file_name::path(f))).transpose();
        Ok(Sources {
            art: art.map(Source::read).transpose()?,
            layers: layers.iter().map(of_layer).collect::<Result<_, _>>()?,
        })
    }

    fn all(&self) -> impl Iterator<Item = &Source> {
        self.art.iter().chain(self.layers.iter().flatten())
    }

    /// Where they lie; `-` for standard input, which may be a file too.
    pub fn files(&self) -> Vec<&Path> {
        self.all().map(|s| s.path().unwrap_or(Path::new("-"))).collect()
    }

    /// Opens them as the plan of the piece says; the page is that of its art. Other pieces may have layers in `common`.
    pub fn opened(
        &self,
        plan: &Plan,
        how: &Opening,
        common: Option<&SharedLayers>,
    ) -> Result<Opened, Failure> {
        let open = |s: &Source, page| {
            let how = Opening { page, ..how.clone() };
            art::open_as(&s.bytes, &s.in_messages, &how).map_err(Failure::from)
        };
        let art =
            self.art.as_ref().map(|s| Ok::<_, Failure>((s.name.clone(), open(s, how.page)?))).transpose()?;
        if plan.layers.is_empty()
            && let Some((name, art)) = art
        {
            return Ok(Opened::Art(Box::new(art), name));
        }
        let more = self.layers.iter().flatten().map(|s| Ok((s.name.clone(), open(s, 1)?)));
        let files = art.map(Ok::<_, Failure>).into_iter().chain(more).collect::<Result<Vec<_>, _>>()?;
        Ok(Opened::Layers(layers(plan, files, how, common)?))
    }
}

impl Opened {
    /// As the stages take it.
    pub fn shown(&self) -> Shown<'_> {
        match self {
            Opened::Art(art, _) => Shown::Art(art),
            Opened::Layers(layers) => Shown::Layers(layers),
        }
    }

    /// What the piece is called: the name of its art, or of all its layers.
    pub fn name(&self) -> String {
        match self {
            Opened::Art(_, name) => name.clone(),
            Opened::Layers(layers) => {
                layers.iter().map(|l| l.art.name.as_str()).collect::<Vec<_>>().join(" + ")
            }
        }
    }
}
