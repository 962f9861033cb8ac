// The parts of the certificate page as data for its template (page.mustache). Internal to the page: the
// template library stays out of other headers.
#pragma once

#include <kainjow/mustache.hpp>
#include <string>
#include <utility>
#include <vector>

#include "cli/certificate/certificate.h"
#include "cli/files/session/session.h"

namespace assay::cli {

using PageData = kainjow::mustache::data;
using NamedPlots = std::vector<std::pair<std::string, std::string>>;

/// Value of a section that holds one text: {{#name}}{{text}}{{/name}}.
PageData text_section(const std::string& text);
std::string first_capital(std::string text);
/// Words for a quantity on the first page, where "THD (re fundamental)" would be the trade's own talk.
std::string first_page_words(const std::string& quantity, const std::string& limit_on);
/// How a measure is made, for those whose method is the same in every test; else nothing.
std::string common_method(const std::string& measure);
/// The text made visible, without the full stop that the template sets.
std::string without_full_stop(const std::string& text);
/// The text made visible: "run it again" becomes "Run it again."; a command in backticks gets quotes.
std::string as_sentence(const std::string& text);
/// Commands between a terminal's marks, which look like specks on paper, in quotation marks.
std::string quoted_commands(std::string shown);

/// All doubts of a scale or a resistor in one, standard: "1.2 %"; empty where none is stated.
std::string doubt_text(const std::vector<capture::RelativeDoubt>& doubts);
std::string input_name(const capture::Bench& bench, std::size_t input);

/// Who and what, with long texts cut; the height of the unit's part of the first page, in mm.
double add_identity(const Session& session, PageData& page);
void add_findings(const Session& session, PageData& page);
/// `first` is the plot that stands on the first page, and so not with its test; empty if there is none.
PageData tests_part(const Session& session, const NamedPlots& plots, const std::string& first);
/// File name of the plot for the first page: of the first claim's test that has one, else the first of all.
std::string first_plot(const Session& session, const NamedPlots& plots);
/// What the plot of a file name shows, in plain words.
std::string plot_caption(const Session& session, const std::string& file);
PageData row_for(const std::string& words, const std::string& basis, std::size_t columns);
PageData limits_rows(const Session& session);
/// All tests of power in one table, and what they say side by side; false where one test says it all.
PageData power_part(const Session& session, const NamedPlots& plots);
/// What was done of the rating's basis; false where none is stated.
PageData rating_part(const Session& session);
PageData methods_part(const Session& session);
PageData not_tested_part(const Session& session);
void add_bench(const Session& session, PageData& page);
/// Paper, fingerprints and the code that a telephone reads.
void add_provenance(const PageOptions& options, const std::string& number, PageData& page);
void add_photographs(const NamedTexts& photographs, PageData& page);

/// Quantities of an impedance or driver-parameters test with what they mean, and the hand method's values.
PageData driver_table(const TestRecord& record);
std::string impedance_method(const TestRecord& record);
std::string parameters_method(const TestRecord& record);
std::string match_method();
/// The impedance jig in words; false if the bench has none.
PageData jig_part(const Session& session);

}  // namespace assay::cli
