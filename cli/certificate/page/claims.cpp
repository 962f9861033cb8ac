// Claims against what was measured, each with its verdict in plain words and a ruler to look at.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/certificate/page/first_sheet.h"
#include "cli/certificate/page/text_room.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using analysis::Verdict;

/// A horizontal scale that holds both the limit and the measured interval.
struct Ruler {
    double from = 0.0;
    double to = 1.0;

    double percent(double value) const {
        return std::clamp(100.0 * (value - from) / (to - from), 0.0, 100.0);
    }
};

Ruler ruler_for(const Quantity& measured, const analysis::Tolerance& limit) {
    const double uncertainty = measured.expanded_uncertainty();
    double low = measured.value - uncertainty;
    double high = measured.value + uncertainty;
    for (const auto& end : {limit.at_least, limit.at_most}) {
        if (!end) continue;
        low = std::min(low, *end);
        high = std::max(high, *end);
    }
    // From zero where zero is near, as watts and volts are thought of; else a margin around what there is.
    const double span = std::max(high - low, 1e-12 * std::max(std::abs(low), std::abs(high)));
    if (!(span > std::numeric_limits<double>::min())) return {low - 1.0, high + 1.0};  // nothing at all
    if (low >= 0.0 && high > 0.0 && span > 0.1 * high) return {0.0, 1.15 * high};
    return {low - 0.3 * span, high + 0.3 * span};
}

std::string position(double percent) {
    return fmt::format("{:.2f}", percent);
}

PageData ruler_part(const Quantity& measured, const analysis::Tolerance& limit) {
    const Ruler ruler = ruler_for(measured, limit);
    const double uncertainty = measured.expanded_uncertainty();
    const double zone_left = limit.at_least ? ruler.percent(*limit.at_least) : 0.0;
    const double zone_right = limit.at_most ? ruler.percent(*limit.at_most) : 100.0;
    const double band_left = ruler.percent(measured.value - uncertainty);
    const double band_right = ruler.percent(measured.value + uncertainty);
    const std::string unit = measured.unit;
    PageData part;
    part.set("zone_left", position(zone_left));
    part.set("zone_width", position(std::max(0.0, zone_right - zone_left)));
    part.set("zone_style", limit.at_least && limit.at_most ? "closed" : limit.at_least ? "above" : "below");
    part.set("band_left", position(band_left));
    part.set("band_width", position(band_right - band_left));
    part.set("dot_left", position(ruler.percent(measured.value)));
    part.set("from", stated_text(to_digits(ruler.from, 3), unit));
    part.set("to", stated_text(to_digits(ruler.to, 3), unit));
    return part;
}

std::string sentence_for(const JudgedClaim& claim) {
    if (!claim.measured) return claim.reason.empty() ? "The claim cannot be judged." : "";
    const bool by_limit = analysis::judge(*claim.measured, claim.limit) == claim.verdict;
    switch (claim.verdict) {
        case Verdict::met:
            return "The unit does what is claimed, even if the measurement errs by its whole uncertainty.";
        case Verdict::not_met:
            return "The unit does not do what is claimed, even if the measurement errs by its whole "
                   "uncertainty.";
        case Verdict::undecided:
            break;
    }
    return by_limit ? "The limit lies within the uncertainty of the measurement: neither yes nor no would be "
                      "safe to say."
                    : "The figures alone would decide, but the claim cannot be judged by this test.";
}

/// The texts of a claim on the page.
struct ClaimTexts {
    std::string claimed{};
    std::string measured{};
    std::string judged{};       // in little space
    std::string judged_full{};  // where there is room
    std::string basis{};
};

/// Heights in print: each text in its column and size, and what is around them.
void measure_claim(const ClaimTexts& texts, ClaimBox& box) {
    constexpr double dense_mm = 148.0;
    constexpr double roomy_mm = 142.0;
    constexpr double bold = 1.08;  // bold letters are wider
    box.mm = 3.3 + 4.5 * text_lines(texts.claimed, dense_mm / bold, 10.0) +
             4.1 * text_lines(texts.measured, dense_mm, 9.0) + 3.7 * text_lines(texts.judged, dense_mm, 8.0) +
             3.4 * text_lines(texts.basis, dense_mm, 7.5);
    box.roomy_mm = 30.0 + 5.4 * text_lines(texts.claimed, roomy_mm / bold, 11.5) +
                   5.4 * text_lines(texts.measured, roomy_mm, 10.0) +
                   5.0 * text_lines(texts.judged_full, roomy_mm, 9.6) +
                   4.4 * text_lines("Test and load, as the page says them: at " + texts.basis, roomy_mm, 8.6);
}

/// What was measured, or that nothing was; the words as they stand on the page, for their length.
std::string add_measured(const Session& session, const JudgedClaim& claim, PageData& entry) {
    if (!claim.measured) {
        // Without a measured value the limit has no unit of its own; the quantity's name ends in it.
        const std::string limit = limit_text(claim.limit, unit_of(claim.quantity));
        entry.set("limit", limit);
        return "No number could be given. (claimed: " + limit + ")";
    }
    const TestRecord* record = session.find(claim.test);
    const std::string limit_on =
        record != nullptr ? text_condition(record->result, "limit_on", "thd") : "thd";
    const std::string value = value_text(*claim.measured);
    const std::string what = first_page_words(claim.quantity, limit_on);
    const std::string limit = limit_text(claim.limit, claim.measured->unit);
    PageData measured;
    measured.set("value", value);
    measured.set("what", what);
    measured.set("limit", limit);
    if (claim.limit.at_least || claim.limit.at_most)
        measured.set("ruler", ruler_part(*claim.measured, claim.limit));
    entry.set("measured", measured);
    return "Measured " + value + " (" + what + ", " + visible_text(claim.load, 60) + "; claimed: " + limit +
           ")";
}

ClaimBox claim_box(const Session& session, const JudgedClaim& claim) {
    constexpr std::size_t longest_claim = 200;
    const TestRecord* record = session.find(claim.test);
    const bool met = claim.verdict == Verdict::met;
    const bool not_met = claim.verdict == Verdict::not_met;
    const bool undecided = !met && !not_met;
    const std::string claimed = short_text(claim.text, longest_claim);
    const std::string sentence = sentence_for(claim);
    const std::string reason = claim.reason.empty() ? std::string{} : as_sentence(claim.reason);
    ClaimBox box;
    PageData& entry = box.entry;
    entry.set("met", PageData{met});
    entry.set("not_met", PageData{not_met});
    entry.set("undecided", PageData{undecided});
    entry.set("verdict", met ? "Met" : not_met ? "Not met" : "Undecided");
    entry.set("style", met ? "met" : not_met ? "not-met" : "undecided");
    entry.set("text", claimed);
    entry.set("text_in_full", visible_text(claim.text));
    entry.set("sentence", sentence);
    entry.set("test", visible_text(claim.test, 80));
    const std::string measured = add_measured(session, claim, entry);
    std::string basis;
    if (claim.measured && record != nullptr && is_power(*claim.measured)) {
        basis = basis_text(session, *record, claim.load, claim.quantity);
        entry.set("basis", text_section(basis));
    }
    if (!reason.empty()) entry.set("reason", text_section(reason));
    if (!claim.load.empty()) entry.set("load", text_section(visible_text(claim.load, 60)));
    // In little space a verdict that was reached speaks for itself, and a reason for what was not.
    const std::string judged = short_text(reason, 220);
    const bool always = undecided && reason.empty();
    entry.set("judged", judged.empty() ? PageData{false} : text_section(judged));
    entry.set("sentence_always", PageData{always});
    measure_claim({claimed, measured, always ? sentence : judged, sentence + ' ' + judged, basis}, box);
    box.urgency = not_met ? 0 : undecided ? 1 : 2;
    box.shortened = claimed != visible_text(claim.text) || reason.size() > 220;
    return box;
}

}  // namespace

std::vector<ClaimBox> claim_boxes(const Session& session) {
    std::vector<ClaimBox> boxes;
    for (const JudgedClaim& claim : session.claims) boxes.push_back(claim_box(session, claim));
    return boxes;
}

}  // namespace assay::cli
