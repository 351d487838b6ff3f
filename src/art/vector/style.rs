//! Style: which elements refer to others by a style sheet or a `style` attribute.
//!
//! The style sheet is read with `simplecss`, as the drawing library does.

use resvg::usvg::roxmltree::Node;
use simplecss::{AttributeOperator, DeclarationTokenizer, Element, PseudoClass, Selector, StyleSheet};

/// How often what a property names is drawn for the element that has the property.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Times {
    /// Once: masks, clip paths, filters, what is embedded.
    Once,
    /// Once for each shape below the element, which inherits it: fills and strokes.
    EachShape,
    /// Once for each corner of each shape below: markers.
    EachCorner,
}

impl Times {
    /// By the property's name.
    pub fn of(property: &str) -> Times {
        match property {
            "fill" | "stroke" => Times::EachShape,
            p if p.starts_with("marker") => Times::EachCorner,
            _ => Times::Once,
        }
    }
}

/// The names in all `url(#name)` of a value.
pub(super) fn targets(value: &str) -> impl Iterator<Item = &str> {
    value.split("url(").skip(1).filter_map(|after| {
        let inner = after.split_once(')').map_or(after, |(inner, _)| inner);
        inner.trim().trim_matches(['"', '\'']).strip_prefix('#')
    })
}

/// What a `style` attribute refers to.
pub(super) fn declared(style: &str) -> impl Iterator<Item = (Times, &str)> {
    DeclarationTokenizer::from(style).flat_map(|d| targets(d.value).map(move |t| (Times::of(d.name), t)))
}

/// The rules of a drawing's style sheets that refer to elements.
pub(super) struct Sheet<'a> {
    rules: Vec<(Selector<'a>, Vec<(Times, &'a str)>)>,
}

impl<'a> Sheet<'a> {
    /// Reads the sheets, in their order.
    pub fn new(sheets: impl Iterator<Item = &'a str>) -> Self {
        let mut sheet = StyleSheet::new();
        sheets.for_each(|text| sheet.parse_more(text));
        let rules = sheet.rules.into_iter().filter_map(|rule| {
            let refers: Vec<_> = rule
                .declarations
                .iter()
                .flat_map(|d| targets(d.value).map(move |t| (Times::of(d.name), t)))
                .collect();
            (!refers.is_empty()).then_some((rule.selector, refers))
        });
        Sheet { rules: rules.collect() }
    }

    /// What the rules make an element refer to; overridden ones count as well.
    pub fn of<'s>(&'s self, node: Node<'_, '_>) -> impl Iterator<Item = (Times, &'a str)> + use<'s, 'a> {
        let matching: Vec<_> = self
            .rules
            .iter()
            .filter(|(s, _)| s.matches(&Styled(node)))
            .flat_map(|(_, r)| r.clone())
            .collect();
        matching.into_iter()
    }
}

/// An element as the selectors see it.
struct Styled<'a, 'n>(Node<'a, 'n>);

impl Element for Styled<'_, '_> {
    fn parent_element(&self) -> Option<Self> {
        self.0.parent_element().map(Styled)
    }

    fn prev_sibling_element(&self) -> Option<Self> {
        self.0.prev_sibling_element().map(Styled)
    }

    fn has_local_name(&self, name: &str) -> bool {
        self.0.tag_name().name() == name
    }

    fn attribute_matches(&self, local_name: &str, operator: AttributeOperator<'_>) -> bool {
        self.0.attribute(local_name).is_some_and(|value| operator.matches(value))
    }

    fn pseudo_class_matches(&self, class: PseudoClass<'_>) -> bool {
        matches!(class, PseudoClass::FirstChild) && self.prev_sibling_element().is_none()
    }
}
