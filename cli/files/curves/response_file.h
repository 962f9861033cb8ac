// Writes and reads the response of a sound card's loopback ("assay-response-1"), the file that `response` of
// an [[input]] names. `assay calibrate loopback` writes it; responses without a reference are divided by it.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"
#include "cli/measures/sweep/card_response.h"

namespace assay::cli {

std::string card_response_text(const CardResponse& card);

/// Faults of kind bad_input_file, one line with the file and the key.
[[nodiscard]] capture::Result<CardResponse> parse_card_response(const std::string& text,
                                                                const std::string& name);
[[nodiscard]] capture::Result<CardResponse> read_card_response(const std::filesystem::path& path);

}  // namespace assay::cli
