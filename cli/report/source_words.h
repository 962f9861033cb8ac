// What makes numbers uncertain, in plain words, and the cheapest mend: the one place where source ids become
// sentences.
#pragma once

#include <string>

#include "analysis/uncertainty/quantity.h"
#include "capture/bench.h"

namespace assay::cli {

struct SourceWords {
    std::string words{};  // "load resistance of load-a"
    std::string mend{};   // "measure it with four wires"; empty when none is known
};

/// Ids such as "load:NAME:resistance", "test:ID:LOAD:noise" or "air:pressure", all of them in the tables of
/// source_words.cpp. An id that is none of these is shown as it is. A part is named where the bench has
/// several of its kind.
SourceWords source_words(const std::string& source_id, const capture::Bench& bench);

/// "load resistance gives 81 % of ±6.0 %; measure it with four wires": the source with the largest share of
/// the variance, in plain words, and the cheapest mend.
std::string what_limits(const analysis::Quantity& quantity, const capture::Bench& bench);

}  // namespace assay::cli
