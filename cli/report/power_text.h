// The table of power and the rating's basis in words, for terminal and page.
#pragma once

#include <string>
#include <vector>

#include "cli/report/power_table.h"

namespace assay::cli {

/// Is there more than a test's own section tells: several rows, or figures of the supply?
bool worth_showing(const PowerTable& table);

/// The limits that are shown in columns: at most two. The others stand with their tests.
std::vector<std::string> shown_limits(const PowerTable& table);

/// Does the table show this figure of the test, so that the page need not say it twice?
bool told_in_table(const PowerTable& table, const std::string& test, const std::string& quantity);

/// "1 channel", "2 channels together", "bridged", "bridged and stereo at once".
std::string driven_words(const PowerRow& row);
/// "4.02 Ω bridged, 2.01 Ω each half".
std::string load_words(const PowerRow& row, std::size_t load);
/// "11.6 V (12 V idle), 9.4 A"; "not stated".
std::string supply_words(const PowerRow& row);
/// "at 1 % THD", for the head of a column; only "at 1 %" where rows differ in what the limit is on.
std::string limit_heading(const PowerTable& table, const std::string& limit);

/// What a row says of the supply: resistance, efficiency, idle draw. Empty where no current was read.
std::string supply_sentence(const PowerRow& row);
/// What a line says, with the tests that it sets side by side.
std::string line_sentence(const PowerTable& table, const PowerLine& line);
/// The lines at the headline's limit, and estimates, as sentences.
std::vector<std::string> line_sentences(const PowerTable& table);

/// Remarks that belong below the table: limits on another distortion, readings by hand.
std::vector<std::string> table_notes(const PowerTable& table);

/// Sections of `assay show`; empty where there is nothing to show.
std::string power_table_text(const Session& session);
std::string rating_text(const Session& session);

}  // namespace assay::cli
