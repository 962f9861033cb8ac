#include "cli/certificate/plots/rule_places.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/certificate/plots/text_width.h"

namespace assay::cli {
namespace {

constexpr double font_share = 12.0 / 14.0;  // of the height that text_width_px is for
constexpr double near_px = 3.0;             // from the line to its text
constexpr double tall_px = 13.0;
constexpr double edge_px = 3.0;  // of the panel
constexpr int places = 24;       // tried along a line
// What a place costs, in the same arbitrary unit.
constexpr double on_text = 1000.0;
constexpr double on_rule = 8.0;
constexpr double on_curve = 1.0;  // for each spot of it, `rule_sample_px` apart
constexpr double for_each_px = 0.04;
constexpr double along_line_px = 60.0;  // so much further away a lying text is still the better one to read
constexpr double rule_sample_px = 3.0;

/// Pixels from the panel's lower left corner.
struct Box {
    double left = 0.0;
    double right = 0.0;
    double bottom = 0.0;
    double top = 0.0;

    bool holds(double x, double y) const { return x >= left && x <= right && y >= bottom && y <= top; }
    bool meets(const Box& other) const {
        return left < other.right && other.left < right && bottom < other.top && other.bottom < top;
    }
};

struct Spot {
    double x = 0.0;
    double y = 0.0;
};

constexpr Spot nowhere{std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::quiet_NaN()};

double share_of(const PlotScale& scale, double value) {
    if (scale.logarithmic)
        return value > 0.0 ? std::log(value / scale.from) / std::log(scale.to / scale.from)
                           : -std::numeric_limits<double>::infinity();
    return (value - scale.from) / (scale.to - scale.from);
}

/// The curves of the panel as spots on it, close enough together that no text slips through.
std::vector<Spot> spots_of(const PlotPanel& panel, const PlotScale& x, double width_px, double height_px) {
    std::vector<Spot> spots;
    for (const PlotCurve& curve : panel.curves) {
        const PlotScale& y = curve.second && panel.y2 ? *panel.y2 : panel.y;
        Spot before = nowhere;
        for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
            const Spot spot{width_px * share_of(x, curve.x[i] + curve.shift),
                            height_px * share_of(y, curve.y[i])};
            if (!std::isfinite(spot.x) || !std::isfinite(spot.y)) {
                before = nowhere;
                continue;
            }
            if (std::isfinite(before.x) && curve.look != PlotLook::bars && curve.look != PlotLook::dots) {
                const double apart = std::hypot(spot.x - before.x, spot.y - before.y);
                const int parts = static_cast<int>(std::min(apart / rule_sample_px, 500.0));
                for (int k = 1; k < parts; ++k) {
                    const double part = static_cast<double>(k) / parts;
                    spots.push_back(
                        {before.x + part * (spot.x - before.x), before.y + part * (spot.y - before.y)});
                }
            }
            spots.push_back(spot);
            before = spot;
        }
    }
    return spots;
}

struct Candidate {
    Box box{};
    bool upwards = false;
    double away = 0.0;  // from where the rule asks for its text, in pixels
};

/// Every place along the line, on both sides of it.
std::vector<Candidate> candidates_of(const PlotRule& rule, double at, double long_px, double width_px,
                                     double height_px) {
    std::vector<Candidate> all;
    const auto add = [&](Box box, bool upwards, double away) {
        if (box.left >= edge_px && box.right <= width_px - edge_px && box.bottom >= edge_px &&
            box.top <= height_px - edge_px)
            all.push_back({box, upwards, away});
    };
    for (int k = 0; k <= places; ++k) {
        const double share = static_cast<double>(k) / places;
        if (rule.upright) {
            const double lying = edge_px + share * (height_px - 2.0 * edge_px - tall_px);
            const double lying_away = rule.high ? (1.0 - share) * height_px : share * height_px;
            add({at + near_px, at + near_px + long_px, lying, lying + tall_px}, false, lying_away);
            add({at - near_px - long_px, at - near_px, lying, lying + tall_px}, false, lying_away);
            const double from = edge_px + share * (height_px - 2.0 * edge_px - long_px);
            const double away = along_line_px + lying_away;
            add({at - near_px - tall_px, at - near_px, from, from + long_px}, true, away);
            add({at + near_px, at + near_px + tall_px, from, from + long_px}, true, away);
        } else {
            const double free_px = width_px - 2.0 * edge_px - long_px;
            const double from = edge_px + share * free_px;
            const double asked = rule.place == PlotPlace::left     ? 0.0
                                 : rule.place == PlotPlace::middle ? 0.5
                                                                   : 1.0;
            const double away = std::abs(share - asked) * free_px;
            add({from, from + long_px, at + near_px, at + near_px + tall_px}, false, away);
            add({from, from + long_px, at - near_px - tall_px, at - near_px}, false, away + along_line_px);
        }
    }
    return all;
}

}  // namespace

std::vector<RulePlace> rule_places(const PlotPanel& panel, const PlotScale& x, double width_px,
                                   double height_px) {
    const std::vector<Spot> spots = spots_of(panel, x, width_px, height_px);
    const auto line_px = [&](const PlotRule& rule) {
        return rule.upright ? width_px * share_of(x, rule.value) : height_px * share_of(panel.y, rule.value);
    };
    std::vector<Box> taken;
    std::vector<RulePlace> all;
    for (const PlotRule& rule : panel.rules) {
        const auto cost_of = [&](const Candidate& candidate) {
            const Box& box = candidate.box;
            double cost = candidate.away * for_each_px;
            for (const Box& other : taken) cost += box.meets(other) ? on_text : 0.0;
            for (const Spot& spot : spots) cost += box.holds(spot.x, spot.y) ? on_curve : 0.0;
            for (const PlotRule& other : panel.rules) {
                const double line = line_px(other);
                const bool crossed =
                    other.upright ? line > box.left && line < box.right : line > box.bottom && line < box.top;
                cost += crossed ? on_rule : 0.0;
            }
            return cost;
        };
        const double long_px = font_share * text_width_px(rule.text);
        Candidate best{{edge_px, edge_px + long_px, edge_px, edge_px + tall_px}, false, 0.0};
        double least = std::numeric_limits<double>::infinity();
        for (const Candidate& candidate : candidates_of(rule, line_px(rule), long_px, width_px, height_px)) {
            const double cost = cost_of(candidate);
            if (cost >= least) continue;
            least = cost;
            best = candidate;
        }
        if (!rule.text.empty()) taken.push_back(best.box);
        const Box& box = best.box;
        all.push_back(best.upwards
                          ? RulePlace{(box.left + box.right) / 2.0 / width_px, box.bottom / height_px, true}
                          : RulePlace{box.left / width_px, (box.bottom + box.top) / 2.0 / height_px, false});
    }
    return all;
}

}  // namespace assay::cli
