#include "cli/certificate/plots/readout.h"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "cli/certificate/plots/gnuplot.h"
#include "cli/files/plain_text.h"

namespace assay::cli {

std::string with_readout(const std::string& svg, const std::string& axis, const std::string& axis_unit,
                         const std::vector<ReadCurve>& curves) {
    const auto text = [](const std::string& words) { return nlohmann::json(visible_text(words, 60)).dump(); };
    std::string json = "{\"x\":" + text(axis) + ",\"unit\":" + text(axis_unit) + ",\"curves\":[";
    bool first = true;
    for (const ReadCurve& curve : curves) {
        json += fmt::format(
            "{}{{\"name\":{},\"unit\":{},\"second\":{},\"panel\":{},\"shift\":{:.6g},\"points\":[",
            first ? "" : ",", text(curve.name), text(curve.unit), curve.second_axis, curve.panel,
            curve.shift);
        first = false;
        for (std::size_t i = 0; i < curve.points.size(); ++i) {
            json += fmt::format("{}[{:.5g},{:.5g}]", i == 0 ? "" : ",", curve.points[i].first,
                                curve.points[i].second);
        }
        json += "]}";
    }
    json += "]}";
    const std::size_t at = svg.find("<svg");
    if (at == std::string::npos) return svg;
    std::string out = svg;
    out.insert(at + 4, " data-curves=\"" + escaped(json) + '"');
    return out;
}

}  // namespace assay::cli
