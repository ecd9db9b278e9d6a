//! The structure that screen readers follow. Its shape is known when words are set, its leaves only
//! when they are drawn on a page, so each place for a leaf is held open until then.

use krilla::tagging::{Identifier, Node, Tag, TagGroup, TagKind, TagTree};

/// A group of the structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group(usize);

/// A place for drawn content inside a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    group: usize,
    child: usize,
}

#[derive(Clone, Debug)]
enum Child {
    Group(usize),
    Leaves(Vec<Identifier>),
}

/// The structure in the making.
#[derive(Clone, Debug)]
pub struct Tags {
    groups: Vec<(TagKind, Vec<Child>)>,
}

impl Tags {
    /// The whole document, which holds all groups.
    pub const ROOT: Group = Group(0);

    /// An empty structure.
    pub fn new() -> Self {
        // The tag of the first group is never written: a tree has its root already.
        Self { groups: vec![(Tag::Div.into(), Vec::new())] }
    }

    /// A new group, last in `parent`.
    pub fn group(&mut self, parent: Group, tag: impl Into<TagKind>) -> Group {
        let number = self.groups.len();
        self.groups.push((tag.into(), Vec::new()));
        self.groups[parent.0].1.push(Child::Group(number));
        Group(number)
    }

    /// A place for content, last in `group`.
    pub fn place(&mut self, group: Group) -> Place {
        let children = &mut self.groups[group.0].1;
        children.push(Child::Leaves(Vec::new()));
        Place { group: group.0, child: children.len() - 1 }
    }

    /// Puts drawn content in its place.
    pub fn put(&mut self, place: Place, leaf: Identifier) {
        if let Some(Child::Leaves(leaves)) = self.groups[place.group].1.get_mut(place.child) {
            leaves.push(leaf);
        }
    }

    /// The structure, done. Groups that nothing was drawn for are left out.
    pub fn finish(self) -> TagTree {
        let mut tree = TagTree::new();
        for node in self.nodes(0) {
            tree.push(node);
        }
        tree
    }

    fn nodes(&self, number: usize) -> Vec<Node> {
        let mut nodes: Vec<Node> = Vec::new();
        for child in &self.groups[number].1 {
            match child {
                Child::Group(inner) => {
                    let inside = self.nodes(*inner);
                    if !inside.is_empty() {
                        let tag = self.groups[*inner].0.clone();
                        nodes.push(TagGroup::with_children(tag, inside).into());
                    }
                }
                Child::Leaves(leaves) => nodes.extend(leaves.iter().copied().map(Node::from)),
            }
        }
        nodes
    }
}
