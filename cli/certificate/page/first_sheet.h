// What fits on the first sheet of paper, A4 or Letter: claims first, then findings, key figures and one plot.
// Heights are those of the printed page (page.mustache, "@media print"); widths are those of A4, the
// narrower.
#pragma once

#include <string>
#include <vector>

#include "cli/certificate/page/parts.h"

namespace assay::cli {

/// A part of the page and its height in print.
struct Boxed {
    PageData entry{};
    double mm = 0.0;
    std::string quantity{};  // its name, where it is one
};

/// A claim; `roomy_mm` is its height with a ruler. `urgency` 0 not met, 1 undecided, 2 met.
struct ClaimBox {
    PageData entry{};
    double mm = 0.0;
    double roomy_mm = 0.0;
    int urgency = 0;
    bool shortened = false;
};

std::vector<ClaimBox> claim_boxes(const Session& session);
/// The findings that the first page has room for.
std::vector<Boxed> finding_boxes(const Session& session);
/// What a buyer looks at first: a few figures a test.
std::vector<Boxed> key_boxes(const Session& session, double column_mm);

/// What the words mean that name these quantities, a sentence each, for six at most.
std::string glossary_text(const std::vector<std::string>& names);

/// Fills claims, findings, key figures and the plot of the first page, and the claims that it had no room
/// for. `first` is the file name of its plot; empty: none. add_identity comes before, and gave `unit_mm`.
/// False: there is no plot on it, or no room for one.
bool add_first_sheet(const Session& session, const NamedPlots& plots, const std::string& first,
                     const PageOptions& options, double unit_mm, PageData& page);

}  // namespace assay::cli
