#include "cli/certificate/page/first_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numeric>

#include "cli/certificate/page/text_room.h"

namespace assay::cli {
namespace {

// The margins of the first page (11 mm and 14 mm), and 3 mm in hand.
constexpr double margins_mm = 11.0 + 14.0 + 3.0;
constexpr double letter_mm = 11.0 * 25.4 - margins_mm;
constexpr double a4_mm = 297.0 - margins_mm;
constexpr double banner_mm = 9.0;
constexpr double head_mm = 26.5;
constexpr double heading_mm = 11.5;
constexpr double intro_mm = 6.5;
constexpr double line_mm = 4.2;    // of small print
constexpr double ending_mm = 9.0;  // what ± means, and where the rest stands
constexpr double key_column_mm = 66.0;
constexpr double page_width_mm = 180.0;
constexpr double plot_column_mm = 108.0;
constexpr double least_plot_mm = 50.0;
constexpr double most_plot_mm = 104.0;
constexpr double least_key_mm = 30.0;
constexpr double caption_pt = 7.5;
constexpr const char* plus_minus = "± is how far the true value may be off, in about 95 cases of 100. ";

/// Width over height of a drawing, from its viewBox.
double aspect_of(const std::string& svg) {
    const std::size_t at = svg.find("viewBox=\"0 0 ");
    if (at == std::string::npos) return 1.0;
    char* end = nullptr;
    const double width = std::strtod(svg.c_str() + at + 13, &end);
    const double height = std::strtod(end, nullptr);
    return width > 0.0 && height > 0.0 ? width / height : 1.0;
}

std::string tally_text(const std::vector<ClaimBox>& boxes) {
    const auto of = [&](int urgency) {
        return std::count_if(boxes.begin(), boxes.end(),
                             [&](const ClaimBox& box) { return box.urgency == urgency; });
    };
    return fmt::format("{} claims: {} met, {} not met, {} undecided.", boxes.size(), of(2), of(0), of(1));
}

/// Places as many claims as there is room for: all in their own order, or the worst of them first. That one
/// is shown even if the plot loses its place, up to `whole_mm`.
double place_claims(std::vector<ClaimBox> boxes, double room_mm, double whole_mm, PageData& page) {
    const auto height = [&](bool roomy) {
        return std::accumulate(boxes.begin(), boxes.end(), 0.0, [&](double sum, const ClaimBox& box) {
            return sum + (roomy ? box.roomy_mm : box.mm);
        });
    };
    page.set("tally", boxes.size() > 1 ? text_section(tally_text(boxes)) : PageData{false});
    const bool roomy = height(true) <= room_mm;
    page.set("claims_dense", PageData{!roomy});
    std::size_t shown = boxes.size();
    double used_mm = height(roomy);
    if (!boxes.empty() && !roomy && used_mm > room_mm) {
        std::stable_sort(boxes.begin(), boxes.end(),
                         [](const ClaimBox& a, const ClaimBox& b) { return a.urgency < b.urgency; });
        used_mm = line_mm + 1.0;
        if (used_mm + boxes.front().mm > room_mm) room_mm = whole_mm;
        for (shown = 0; shown < boxes.size() && used_mm + boxes[shown].mm <= room_mm; ++shown)
            used_mm += boxes[shown].mm;
    }
    PageData first{PageData::type::list};
    PageData further{PageData::type::list};
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        if (i < shown) first << boxes[i].entry;
        if (i >= shown || boxes[i].shortened) further << boxes[i].entry;
    }
    page.set("claims", first);
    page.set("nothing_claimed", PageData{boxes.empty()});
    page.set("further_claims", further.is_empty_list() ? PageData{false} : PageData{"rows", further});
    page.set("claims_left",
             shown < boxes.size() ? text_section(std::to_string(boxes.size() - shown)) : PageData{false});
    return used_mm;
}

void place_key_figures(const std::vector<Boxed>& boxes, double room_mm, PageData& page) {
    PageData rows{PageData::type::list};
    double used_mm = heading_mm + line_mm;
    std::size_t shown = 0;
    for (; shown < boxes.size() && used_mm + boxes[shown].mm <= room_mm; ++shown) {
        used_mm += boxes[shown].mm;
        rows << boxes[shown].entry;
    }
    PageData part{PageData::type::object};
    part.set("rows", rows);
    part.set("left",
             shown < boxes.size() ? text_section(std::to_string(boxes.size() - shown)) : PageData{false});
    page.set("key", shown == 0 ? PageData{false} : part);
}

}  // namespace

bool add_first_sheet(const Session& session, const NamedPlots& plots, const std::string& first,
                     const PageOptions& options, double unit_mm, PageData& page) {
    const double sheet_mm = options.paper == Paper::letter ? letter_mm : a4_mm;
    double room_mm = sheet_mm - head_mm - unit_mm - heading_mm - intro_mm - ending_mm;
    if (session.simulated) room_mm -= banner_mm;

    PageData findings{PageData::type::list};
    for (const Boxed& box : finding_boxes(session)) {
        room_mm -= box.mm;
        findings << box.entry;
    }
    page.set("findings_shown", findings);

    const auto plot =
        std::find_if(plots.begin(), plots.end(), [&](const auto& p) { return p.first == first; });
    bool drawn = plot != plots.end();
    const double caption_mm =
        drawn ? 3.4 * text_lines(plot_caption(session, first) + " SIMULATED BENCH: shows no real unit.",
                                 plot_column_mm, caption_pt) +
                    1.0
              : 0.0;
    const std::vector<Boxed> key = key_boxes(session, drawn ? key_column_mm : page_width_mm);
    std::vector<std::string> names;
    for (const JudgedClaim& claim : session.claims) names.push_back(claim.quantity);
    for (const Boxed& box : key) names.push_back(box.quantity);
    const std::string glossary = glossary_text(names);
    page.set("glossary", glossary);
    room_mm -= 3.8 * text_lines(plus_minus + glossary, page_width_mm, 8.0);
    const double key_mm = std::accumulate(key.begin(), key.end(), heading_mm + line_mm,
                                          [](double sum, const Boxed& box) { return sum + box.mm; });
    const double least_mm = drawn         ? least_plot_mm + caption_mm
                            : key.empty() ? 0.0
                                          : std::min(key_mm, heading_mm + least_key_mm);
    room_mm -= place_claims(claim_boxes(session), room_mm - least_mm, room_mm, page);

    drawn = drawn && room_mm >= least_mm;

    place_key_figures(key, room_mm, page);
    page.set("key_alone", PageData{!drawn});
    page.set("plot_width", fmt::format("{:.1f}", plot_column_mm));
    page.set("main_plot", PageData{false});
    if (!drawn) return false;
    const double aspect = aspect_of(plot->second);
    const double height_mm = std::clamp(room_mm - caption_mm, least_plot_mm, most_plot_mm);
    PageData drawing{"svg", plot->second};
    drawing.set("caption", plot_caption(session, first));
    page.set("main_plot", drawing);
    page.set("plot_width", fmt::format("{:.1f}", std::min(plot_column_mm, height_mm * aspect)));
    return true;
}

}  // namespace assay::cli
