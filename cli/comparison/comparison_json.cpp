#include "cli/comparison/comparison.h"
#include "cli/files/session/session_describe.h"

namespace assay::cli {
namespace {

Json quantity_json(const analysis::Quantity& quantity) {
    return json_of([&](JsonWriter& archive) { write_quantity(archive, quantity); });
}

Json verdict_json(const std::optional<analysis::Verdict>& verdict) {
    if (!verdict) return nullptr;
    switch (*verdict) {
        case analysis::Verdict::met:
            return "met";
        case analysis::Verdict::not_met:
            return "not met";
        case analysis::Verdict::undecided:
            break;
    }
    return "undecided";
}

Json condition_json(const Condition& condition) {
    if (const auto* number = std::get_if<double>(&condition)) return *number;
    return std::get<std::string>(condition);
}

Json session_json(const Session& session) {
    return {{"number", session.number},    {"created", session.created},  {"simulated", session.simulated},
            {"maker", session.unit.maker}, {"model", session.unit.model}, {"serial", session.unit.serial}};
}

}  // namespace

std::string comparison_json(const Comparison& comparison, const Session& left, const Session& right) {
    Json document{
        {"schema", "assay-comparison-1"}, {"left", session_json(left)}, {"right", session_json(right)}};
    document["within_percent"] = nullptr;
    if (comparison.within_percent) document["within_percent"] = *comparison.within_percent;
    document["matched"] = verdict_json(comparison.matched);
    Json& quantities = document["quantities"] = Json::array();
    for (const ComparedQuantity& compared : comparison.quantities) {
        Json node{{"test", compared.test}, {"load", compared.load}, {"quantity", compared.name}};
        node["left"] = quantity_json(compared.left);
        node["right"] = quantity_json(compared.right);
        node["difference"] = quantity_json(compared.difference);
        node["percent"] = compared.percent ? quantity_json(*compared.percent) : Json(nullptr);
        node["matched"] = verdict_json(compared.matched);
        quantities.push_back(std::move(node));
    }
    Json& curves = document["curves"] = Json::array();
    for (const ComparedCurve& curve : comparison.curves) {
        curves.push_back({{"test", curve.test},
                          {"load", curve.load},
                          {"curve", curve.name},
                          {"unit", curve.unit},
                          {"points", curve.points},
                          {"interpolated", curve.interpolated},
                          {"from_hz", curve.from_hz},
                          {"to_hz", curve.to_hz},
                          {"rms", curve.rms},
                          {"worst", curve.worst},
                          {"worst_hz", curve.worst_hz}});
    }
    Json& conditions = document["conditions"] = Json::array();
    for (const ComparedCondition& condition : comparison.conditions) {
        conditions.push_back({{"test", condition.test},
                              {"condition", condition.name},
                              {"left", condition_json(condition.left)},
                              {"right", condition_json(condition.right)}});
    }
    document["remarks"] = comparison.remarks;
    return json_text(document);
}

}  // namespace assay::cli
