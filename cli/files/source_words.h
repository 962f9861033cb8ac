// What makes numbers uncertain, in plain words, and the cheapest mend: the one place where source ids become
// sentences.
#pragma once

#include <string>

#include "capture/bench.h"

namespace assay::cli {

struct SourceWords {
    std::string words{};  // "load resistance of load-a"
    std::string mend{};   // "measure it with four wires"; empty when none is known
};

/// Ids: "input:NAME:scale", "input:NAME:meter-digits", "input:NAME:own-distortion", "meter:NAME",
/// "load:NAME:resistance", "test:ID:LOAD:noise", "...:interpolation", "...:repeatability",
/// "...:meter-digits", "test:ID:scatter", "test:ID:model", "test:ID:box-volume", "driver:area",
/// "driver:dc-resistance", "scale:mass", "air:temperature", "air:pressure", "air:humidity". An id that is
/// none of these is shown as it is. A part is named where the bench has several of its kind.
SourceWords source_words(const std::string& source_id, const capture::Bench& bench);

}  // namespace assay::cli
