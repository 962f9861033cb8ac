// A listed file as it stands in contents.json and in signature.json.
#pragma once

#include <type_traits>

#include "cli/files/session/session_describe.h"
#include "cli/signature/contents.h"

namespace assay::cli {

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, FileEntry>
void describe(Archive& archive, Object& entry) {
    archive.field("path", entry.path);
    archive.field("bytes", entry.bytes);
    archive.field("blake2b", entry.blake2b);
}

}  // namespace assay::cli
