// Claims against what was measured, each with its verdict in plain words and a ruler to look at.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/certificate/page_parts.h"
#include "cli/files/basis.h"
#include "cli/files/number_words.h"
#include "cli/files/plain_text.h"
#include "cli/files/quantity_words.h"
#include "cli/files/show.h"

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
    part.set("from", stated_text(std::stod(fmt::format("{:.3g}", ruler.from)), unit));
    part.set("to", stated_text(std::stod(fmt::format("{:.3g}", ruler.to)), unit));
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

}  // namespace

PageData claims_part(const Session& session) {
    PageData list{PageData::type::list};
    for (const JudgedClaim& claim : session.claims) {
        const TestRecord* record = session.find(claim.test);
        const std::string limit_on =
            record != nullptr ? text_condition(record->result, "limit_on", "thd") : "thd";
        PageData entry;
        const bool met = claim.verdict == Verdict::met;
        const bool not_met = claim.verdict == Verdict::not_met;
        entry.set("met", PageData{met});
        entry.set("not_met", PageData{not_met});
        entry.set("undecided", PageData{!met && !not_met});
        entry.set("verdict", met ? "Met" : not_met ? "Not met" : "Undecided");
        entry.set("style", met ? "met" : not_met ? "not-met" : "undecided");
        entry.set("text", visible_text(claim.text));
        entry.set("sentence", sentence_for(claim));
        entry.set("test", visible_text(claim.test, 80));
        entry.set("limit", limit_text(claim.limit, claim.measured ? claim.measured->unit : std::string{}));
        if (claim.measured) {
            PageData measured;
            measured.set("value", value_text(*claim.measured));
            measured.set("what", quantity_words(claim.quantity, limit_on));
            measured.set("limit", limit_text(claim.limit, claim.measured->unit));
            if (claim.limit.at_least || claim.limit.at_most) {
                measured.set("ruler", ruler_part(*claim.measured, claim.limit));
            }
            entry.set("measured", measured);
            if (record != nullptr && is_power(*claim.measured)) {
                entry.set("basis", text_section(basis_text(session, *record, claim.load, claim.quantity)));
            }
        } else {
            // Without a measured value the limit has no unit of its own; the quantity's name ends in it.
            entry.set("limit", limit_text(claim.limit, unit_of(claim.quantity)));
        }
        if (!claim.reason.empty()) entry.set("reason", text_section(as_sentence(claim.reason)));
        if (!claim.load.empty()) entry.set("load", text_section(visible_text(claim.load, 80)));
        list << entry;
    }
    return list;
}

}  // namespace assay::cli
