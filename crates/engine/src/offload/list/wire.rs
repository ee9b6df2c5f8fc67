//! The XML of a hash list in, [`HashList`] out, and back: elements and attributes as ASC MHL v1.0, 6.4 and 6.5, orders them.

use quick_xml::se::Serializer;
use serde::{Deserialize, Serialize};

use super::{
    Action, FolderHashes, HashList, ListedFile, ListedFolder, ListedHash, Process, Reference,
    stays_inside,
};
use crate::error::{Error, Kind, Result};
use crate::offload::hash::{Hash, HashKind};

const NAMESPACE: &str = "urn:ASC:MHL:v2.0";
const VERSION: &str = "2.0";
/// Part of every message about a list that breaks its form.
const CLAUSE: &str = "ASC MHL v1.0, 6.4";

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename = "hashlist")]
struct Document {
    #[serde(rename = "@version")]
    version: String,
    #[serde(rename = "@xmlns", default)]
    namespace: String,
    creatorinfo: Creator,
    processinfo: ProcessInfo,
    #[serde(skip_serializing_if = "Option::is_none")]
    hashes: Option<Hashes>,
    #[serde(skip_serializing_if = "Option::is_none")]
    references: Option<References>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Creator {
    creationdate: String,
    #[serde(default)]
    hostname: String,
    tool: Tool,
}

#[derive(Debug, Serialize, Deserialize)]
struct Tool {
    #[serde(rename = "@version", default)]
    version: String,
    #[serde(rename = "$text", default)]
    name: String,
}

#[derive(Debug, Serialize, Deserialize)]
struct ProcessInfo {
    process: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    roothash: Option<Both>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ignore: Option<Ignore>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Both {
    #[serde(default)]
    content: Kinds,
    #[serde(default)]
    structure: Kinds,
}

#[derive(Debug, Serialize, Deserialize)]
struct Ignore {
    #[serde(default)]
    pattern: Vec<String>,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct Hashes {
    #[serde(default, rename = "hash")]
    files: Vec<FileHash>,
    #[serde(default, rename = "directoryhash")]
    folders: Vec<FolderHash>,
}

/// [`Kinds`] between a path and what it was before: written out, since flattening loses the attributes of elements.
#[derive(Debug, Serialize, Deserialize)]
struct FileHash {
    path: PathElement,
    #[serde(skip_serializing_if = "Option::is_none")]
    c4: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    md5: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sha1: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh128: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh3: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh64: Option<HashElement>,
    #[serde(rename = "previousPath", skip_serializing_if = "Option::is_none")]
    previous: Option<String>,
}

#[derive(Debug, Serialize, Deserialize)]
struct FolderHash {
    path: PathElement,
    #[serde(skip_serializing_if = "Option::is_none")]
    content: Option<Kinds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    structure: Option<Kinds>,
}

#[derive(Debug, Serialize, Deserialize)]
struct PathElement {
    #[serde(rename = "@size", skip_serializing_if = "Option::is_none")]
    size: Option<String>,
    #[serde(
        rename = "@lastmodificationdate",
        skip_serializing_if = "Option::is_none"
    )]
    modified: Option<String>,
    #[serde(rename = "$text", default)]
    text: String,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct Kinds {
    #[serde(skip_serializing_if = "Option::is_none")]
    c4: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    md5: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sha1: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh128: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh3: Option<HashElement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    xxh64: Option<HashElement>,
}

#[derive(Debug, Serialize, Deserialize)]
struct HashElement {
    #[serde(rename = "@action", skip_serializing_if = "Option::is_none")]
    action: Option<String>,
    #[serde(rename = "@hashdate", skip_serializing_if = "Option::is_none")]
    when: Option<String>,
    #[serde(rename = "$text", default)]
    text: String,
}

#[derive(Debug, Serialize, Deserialize)]
struct References {
    #[serde(default)]
    hashlistreference: Vec<ReferenceElement>,
}

#[derive(Debug, Serialize, Deserialize)]
struct ReferenceElement {
    path: String,
    c4: String,
}

/// The text of an XML document that serde can read, or where it breaks.
pub(super) fn parse<T: for<'a> Deserialize<'a>>(xml: &[u8]) -> Result<T> {
    let text = std::str::from_utf8(xml).map_err(|error| {
        let found = format!("no UTF-8 at byte {}", error.valid_up_to());
        Error::new(
            Kind::Format,
            format!("{found}, expected UTF-8 (ASC MHL v1.0, 6.2)"),
        )
    })?;
    quick_xml::de::from_str(text).map_err(|error| {
        let place = place_of_error(text).map_or(String::new(), |at| format!(" at byte {at}"));
        Error::new(
            Kind::Format,
            format!("is no hash list{place}, expected the elements of {CLAUSE}"),
        )
        .from_source(error)
    })
}

/// Where a document stops being well-formed, if that is what is wrong with it.
fn place_of_error(text: &str) -> Option<u64> {
    let mut reader = quick_xml::Reader::from_str(text);
    loop {
        match reader.read_event() {
            Ok(quick_xml::events::Event::Eof) => return None,
            Ok(_) => {}
            Err(_) => return Some(reader.error_position()),
        }
    }
}

/// An XML document of a value, with its declaration.
pub(super) fn document(value: &impl Serialize) -> Result<String> {
    let mut text = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let mut serializer = Serializer::new(&mut text);
    serializer.indent(' ', 2);
    value
        .serialize(serializer)
        .map_err(|error| Error::new(Kind::Format, "cannot be written as XML").from_source(error))?;
    text.push('\n');
    Ok(text)
}

impl HashList {
    /// Reads a list.
    ///
    /// # Errors
    /// [`Kind::Format`] when it is no hash list, or a path in it leads out of its folder.
    pub fn from_xml(xml: &[u8]) -> Result<Self> {
        let document: Document = parse(xml)?;
        let wrong = |found: String, expected: &str| {
            Error::new(
                Kind::Format,
                format!("found {found}, expected {expected} ({CLAUSE})"),
            )
        };
        if document.version != VERSION {
            let found = format!("version \"{}\"", document.version);
            return Err(wrong(found, "version \"2.0\""));
        }
        let process = match document.processinfo.process.trim() {
            "in-place" => Process::InPlace,
            "transfer" => Process::Transfer,
            "flatten" => Process::Flatten,
            other => {
                let found = format!("process \"{other}\"");
                return Err(wrong(found, "in-place, transfer or flatten"));
            }
        };
        let inside = |path: String| match stays_inside(&path) {
            true => Ok(path),
            false => Err(wrong(
                format!("path \"{path}\""),
                "a path inside the folder of the list",
            )),
        };
        let mut files = Vec::new();
        let mut folders = Vec::new();
        let hashes = document.hashes.unwrap_or_default();
        for file in hashes.files {
            files.push(ListedFile {
                path: inside(file.path.text)?,
                size: file.path.size.and_then(|size| size.trim().parse().ok()),
                modified: file.path.modified,
                hashes: Kinds {
                    c4: file.c4,
                    md5: file.md5,
                    sha1: file.sha1,
                    xxh128: file.xxh128,
                    xxh3: file.xxh3,
                    xxh64: file.xxh64,
                }
                .read()?,
                previous: file.previous.map(inside).transpose()?,
            });
        }
        for folder in hashes.folders {
            folders.push(ListedFolder {
                path: inside(folder.path.text)?,
                modified: folder.path.modified,
                hashes: FolderHashes {
                    content: plain(folder.content)?,
                    structure: plain(folder.structure)?,
                },
            });
        }
        let references = document
            .references
            .map_or(Vec::new(), |r| r.hashlistreference);
        Ok(Self {
            created: document.creatorinfo.creationdate,
            host: document.creatorinfo.hostname,
            tool: (
                document.creatorinfo.tool.name,
                document.creatorinfo.tool.version,
            ),
            process,
            root: document
                .processinfo
                .roothash
                .map(|root| {
                    Ok::<_, Error>(FolderHashes {
                        content: plain(Some(root.content))?,
                        structure: plain(Some(root.structure))?,
                    })
                })
                .transpose()?,
            ignored: document
                .processinfo
                .ignore
                .map_or(Vec::new(), |i| i.pattern),
            files,
            folders,
            references: references
                .into_iter()
                .map(|reference| {
                    Ok(Reference {
                        path: inside(reference.path)?,
                        c4: reference.c4.trim().to_string(),
                    })
                })
                .collect::<Result<_>>()?,
        })
    }

    /// The list as a document.
    ///
    /// # Errors
    /// When a text in it cannot be written as XML.
    pub fn to_xml(&self) -> Result<String> {
        let process = match self.process {
            Process::InPlace => "in-place",
            Process::Transfer => "transfer",
            Process::Flatten => "flatten",
        };
        let files = self.files.iter().map(|file| {
            let kinds = Kinds::written(&file.hashes);
            FileHash {
                path: PathElement {
                    size: file.size.map(|size| size.to_string()),
                    modified: file.modified.clone(),
                    text: file.path.clone(),
                },
                c4: kinds.c4,
                md5: kinds.md5,
                sha1: kinds.sha1,
                xxh128: kinds.xxh128,
                xxh3: kinds.xxh3,
                xxh64: kinds.xxh64,
                previous: file.previous.clone(),
            }
        });
        let folders = self.folders.iter().map(|folder| FolderHash {
            path: PathElement {
                size: None,
                modified: folder.modified.clone(),
                text: folder.path.clone(),
            },
            content: some_plain(&folder.hashes.content),
            structure: some_plain(&folder.hashes.structure),
        });
        let hashes = Hashes {
            files: files.collect(),
            folders: folders.collect(),
        };
        let references: Vec<ReferenceElement> = self
            .references
            .iter()
            .map(|reference| ReferenceElement {
                path: reference.path.clone(),
                c4: reference.c4.clone(),
            })
            .collect();
        document(&Document {
            version: VERSION.into(),
            namespace: NAMESPACE.into(),
            creatorinfo: Creator {
                creationdate: self.created.clone(),
                hostname: self.host.clone(),
                tool: Tool {
                    version: self.tool.1.clone(),
                    name: self.tool.0.clone(),
                },
            },
            processinfo: ProcessInfo {
                process: process.into(),
                roothash: self.root.as_ref().map(|root| Both {
                    content: some_plain(&root.content).unwrap_or_default(),
                    structure: some_plain(&root.structure).unwrap_or_default(),
                }),
                ignore: (!self.ignored.is_empty()).then(|| Ignore {
                    pattern: self.ignored.clone(),
                }),
            },
            hashes: (!hashes.files.is_empty() || !hashes.folders.is_empty()).then_some(hashes),
            references: (!references.is_empty()).then_some(References {
                hashlistreference: references,
            }),
        })
    }
}

/// Hashes that tell nothing but themselves.
fn plain(kinds: Option<Kinds>) -> Result<Vec<Hash>> {
    let hashes = kinds.unwrap_or_default().read()?;
    Ok(hashes.into_iter().map(|listed| listed.hash).collect())
}

fn some_plain(hashes: &[Hash]) -> Option<Kinds> {
    let listed: Vec<ListedHash> = hashes
        .iter()
        .map(|hash| ListedHash {
            hash: hash.clone(),
            action: None,
            when: None,
        })
        .collect();
    (!listed.is_empty()).then(|| Kinds::written(&listed))
}

impl Kinds {
    fn of(&mut self, kind: HashKind) -> &mut Option<HashElement> {
        match kind {
            HashKind::C4 => &mut self.c4,
            HashKind::Md5 => &mut self.md5,
            HashKind::Sha1 => &mut self.sha1,
            HashKind::Xxh128 => &mut self.xxh128,
            HashKind::Xxh3 => &mut self.xxh3,
            HashKind::Xxh64 => &mut self.xxh64,
        }
    }

    fn written(hashes: &[ListedHash]) -> Self {
        let mut kinds = Self::default();
        for listed in hashes {
            *kinds.of(listed.hash.kind) = Some(HashElement {
                action: listed.action.map(|action| action.name().to_string()),
                when: listed.when.clone(),
                text: listed.hash.text.clone(),
            });
        }
        kinds
    }

    fn read(mut self) -> Result<Vec<ListedHash>> {
        let mut hashes = Vec::new();
        for kind in HashKind::ALL {
            let Some(element) = self.of(kind).take() else {
                continue;
            };
            let text = element.text.trim();
            let hash = Hash::parse(kind, text).ok_or_else(|| {
                let message = format!(
                    "found \"{text}\", expected a hash of the kind {} (ASC MHL v1.0, Appendix D)",
                    kind.name()
                );
                Error::new(Kind::Format, message)
            })?;
            hashes.push(ListedHash {
                hash,
                action: element.action.as_deref().and_then(Action::named),
                when: element.when,
            });
        }
        Ok(hashes)
    }
}

impl Action {
    fn name(self) -> &'static str {
        match self {
            Self::Original => "original",
            Self::Verified => "verified",
            Self::Failed => "failed",
        }
    }

    fn named(name: &str) -> Option<Self> {
        [Self::Original, Self::Verified, Self::Failed]
            .into_iter()
            .find(|action| action.name() == name)
    }
}
