// Separation is measured one way a test; two tests with driven and idle swapped are one answer to a reader.
#pragma once

#include <string>

#include "cli/files/session/session.h"

namespace assay::cli {

/// The test that measures the other way, none where the session has none.
const TestRecord* other_way(const Session& session, const TestRecord& record);

/// "left into right 66.1 dB, right into left 60.2 dB; the lesser counts: 60.2 dB". Of a pair only the test
/// that comes later in the session has it; a test without the other way says so. Empty for other measures.
std::string both_ways_text(const Session& session, const TestRecord& record);

/// Whether this is the later test of a pair.
bool is_way_back(const Session& session, const TestRecord& record);

}  // namespace assay::cli
