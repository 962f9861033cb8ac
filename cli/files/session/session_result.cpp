// What a test gave, as it stands in session.json.
#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/files/session/session_describe.h"

namespace assay::cli {
namespace {

constexpr const char* untrusted_code = "untrusted-capture";

struct SourceShare {
    std::string id{};
    double share_percent = 0.0;
    double contribution = 0.0;
};

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, SourceShare>
void describe(Archive& archive, Object& source) {
    archive.field("id", source.id);
    archive.field("share_percent", source.share_percent);
    archive.field("contribution", source.contribution);
}

std::vector<SourceShare> shares_of(const analysis::Quantity& quantity) {
    std::vector<SourceShare> shares;
    for (const auto& [id, contribution] : quantity.contributions) {
        shares.push_back({id, 100.0 * quantity.variance_share(id), contribution});
    }
    // Two inputs alike have shares that differ by rounding alone: those stay in the order of their names.
    const auto rank = [](const SourceShare& share) { return std::llround(1e6 * share.share_percent); };
    std::stable_sort(shares.begin(), shares.end(),
                     [&](const SourceShare& a, const SourceShare& b) { return rank(a) > rank(b); });
    return shares;
}

struct AbsentRecord {
    std::string quantity{};
    analysis::Absent why{};
};

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, AbsentRecord>
void describe(Archive& archive, Object& record) {
    archive.field("quantity", record.quantity);
    archive.field("code", record.why.code);
    archive.field("text", record.why.text);
    archive.field("advice", record.why.advice);
}

}  // namespace

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Warning>
void describe(Archive& archive, Object& warning) {
    archive.field("code", warning.code);
    archive.field("text", warning.text);
    archive.field("advice", warning.advice);
}

namespace {

const EnumWords<capture::FaultKind>& fault_words() {
    using capture::FaultKind;
    static const EnumWords<FaultKind> words{{FaultKind::bad_arguments, "bad-arguments"},
                                            {FaultKind::bad_input_file, "bad-input-file"},
                                            {FaultKind::untrusted_capture, untrusted_code},
                                            {FaultKind::verification, "verification"},
                                            {FaultKind::not_written, "not-written"},
                                            {FaultKind::stopped, "stopped"},
                                            {FaultKind::internal, "internal"}};
    return words;
}

/// A place in a column where no number can be given (not a number within) is null in the file.
void write_column(JsonWriter& curve, const analysis::Column& column) {
    std::vector<double> values = column.values;
    for (double& value : values) {
        if (std::isnan(value)) value = 0.0;
    }
    curve.field(column.name, values);
    Json& list = curve.node()[column.name];
    for (std::size_t i = 0; i < column.values.size(); ++i) {
        if (std::isnan(column.values[i])) list[i] = nullptr;
    }
}

void read_column(const Json& list, const Place& place, Trouble& trouble, std::vector<double>& values) {
    if (!list.is_array()) return trouble.note(place, "should be a list");
    for (std::size_t i = 0; i < list.size() && !trouble.first; ++i) {
        values.push_back(std::numeric_limits<double>::quiet_NaN());
        if (!list[i].is_null()) JsonReader::read(list[i], values.back(), Place{&place, nullptr, i}, trouble);
    }
}

void write_curves(JsonWriter& archive, const Numbers& numbers) {
    archive.object("curves", [&](JsonWriter& curves) {
        for (const auto& [name, curve] : numbers.curves) {
            curves.object(name, [&columns = curve.columns](JsonWriter& writer) {
                for (const analysis::Column& column : columns) {
                    if (column.values.size() != columns.front().values.size())
                        writer.trouble().note(writer.place(), "has columns of different length");
                    write_column(writer, column);
                }
            });
        }
    });
}

void write_numbers(JsonWriter& archive, const Numbers& numbers, std::vector<Warning> warnings) {
    write_quantities(archive, numbers);
    write_absent(archive, numbers);
    write_curves(archive, numbers);
    warnings.insert(warnings.end(), numbers.warnings.begin(), numbers.warnings.end());
    write_warnings(archive, warnings);
}

void read_numbers(JsonReader& archive, Numbers& numbers) {
    Trouble& trouble = archive.trouble();
    const std::string quantities_key = "quantities";
    const Place quantities_place{&archive.place(), &quantities_key, 0};
    if (const Json* node = archive.find(quantities_key)) {
        const JsonReader check(*node, quantities_place, trouble);
        for (auto entry = node->begin(); !trouble.first && entry != node->end(); ++entry) {
            const std::string& name = entry.key();
            const Place place{&quantities_place, &name, 0};
            JsonReader reader(*entry, place, trouble);
            analysis::Quantity quantity;
            read_quantity(reader, quantity);
            numbers.quantities.emplace_back(name, std::move(quantity));
        }
    }
    std::vector<AbsentRecord> absent;
    archive.field("absent", absent);
    for (AbsentRecord& record : absent) numbers.absent.emplace_back(record.quantity, record.why);

    const std::string curves_key = "curves";
    const Place curves_place{&archive.place(), &curves_key, 0};
    if (const Json* node = archive.find(curves_key)) {
        const JsonReader check(*node, curves_place, trouble);
        for (auto entry = node->begin(); !trouble.first && entry != node->end(); ++entry) {
            const std::string& name = entry.key();
            const Place place{&curves_place, &name, 0};
            const JsonReader reader(*entry, place, trouble);
            analysis::Curve curve;
            for (auto item = entry->begin(); !trouble.first && item != entry->end(); ++item) {
                analysis::Column column{item.key(), {}};
                read_column(*item, Place{&place, &column.name, 0}, trouble, column.values);
                curve.columns.push_back(std::move(column));
                if (curve.columns.back().values.size() != curve.columns.front().values.size()) {
                    trouble.note(place, "its lists are not equally long");
                }
            }
            numbers.curves.emplace_back(name, std::move(curve));
        }
    }
    archive.field("warnings", numbers.warnings);
}

bool has_numbers(const TestResult& result) {
    bool any = !result.whole.quantities.empty() || !result.whole.curves.empty();
    for (const auto& [name, numbers] : result.loads) {
        any = any || !numbers.quantities.empty() || !numbers.curves.empty();
    }
    return any;
}

}  // namespace

void write_quantities(JsonWriter& archive, const Numbers& numbers) {
    archive.object("quantities", [&](JsonWriter& quantities) {
        for (const auto& [name, quantity] : numbers.quantities)
            quantities.object(name, [&one = quantity](JsonWriter& writer) { write_quantity(writer, one); });
    });
}

void write_absent(JsonWriter& archive, const Numbers& numbers) {
    std::vector<AbsentRecord> absent;
    for (const auto& [name, why] : numbers.absent) absent.push_back({name, why});
    archive.field("absent", absent);
}

void write_warnings(JsonWriter& archive, const std::vector<Warning>& warnings) {
    archive.field("warnings", warnings);
}

void write_quantity(JsonWriter& archive, const analysis::Quantity& quantity) {
    archive.field("value", quantity.value);
    archive.field("unit", quantity.unit);
    archive.field("expanded_uncertainty", quantity.expanded_uncertainty());
    archive.field("coverage_factor", double{analysis::Quantity::coverage_factor});
    archive.field("sources", shares_of(quantity));
}

void read_quantity(JsonReader& archive, analysis::Quantity& quantity) {
    double expanded = 0.0;
    double coverage = 0.0;
    std::vector<SourceShare> shares;
    archive.field("value", quantity.value);
    archive.field("unit", quantity.unit);
    archive.field("expanded_uncertainty", expanded);
    archive.field("coverage_factor", coverage);
    archive.field("sources", shares);
    if (archive.trouble().first) return;
    for (const SourceShare& share : shares) {
        if (!quantity.contributions.emplace(share.id, share.contribution).second) {
            archive.trouble().note(archive.place(), "names a source twice");
        }
    }
    // A number whose uncertainty was changed by hand, or whose sources were, would be judged wrongly.
    constexpr double rounding = 1e-9;
    const double from_sources = quantity.expanded_uncertainty();
    if (coverage != analysis::Quantity::coverage_factor ||
        !(std::abs(expanded - from_sources) <= rounding * std::abs(from_sources))) {
        archive.trouble().note(archive.place(), "its uncertainty does not follow from its sources");
    }
}

void write_result(JsonWriter& archive, const TestResult& result, const std::string& loads_key) {
    if (result.fault && has_numbers(result)) {
        archive.trouble().note(archive.place(), "has numbers although its capture cannot be trusted");
    }
    archive.field("measure", result.measure);
    std::vector<Warning> first_warning;
    if (result.fault) {
        archive.object("fault", [&fault = *result.fault](JsonWriter& writer) {
            writer.choice("kind", fault.kind, fault_words());
            writer.field("text", fault.text);
            writer.field("at_s", fault.at_s);
            writer.field("mend", fault.mend);
        });
        first_warning.push_back({untrusted_code, result.fault->text, result.fault->mend});
    }
    archive.object(loads_key, [&](JsonWriter& loads) {
        for (const auto& [name, numbers] : result.loads)
            loads.object(name, [&one = numbers](JsonWriter& writer) { write_numbers(writer, one, {}); });
    });
    write_numbers(archive, result.whole, first_warning);
    archive.object("conditions", [&](JsonWriter& conditions) {
        for (const auto& [name, condition] : result.conditions)
            std::visit([&, &key = name](const auto& value) { conditions.field(key, value); }, condition);
    });
}

void read_result(JsonReader& archive, TestResult& result) {
    Trouble& trouble = archive.trouble();
    archive.field("measure", result.measure);
    const std::string fault_key = "fault";
    if (const Json* node = archive.find_optional(fault_key)) {
        const Place place{&archive.place(), &fault_key, 0};
        JsonReader reader(*node, place, trouble);
        capture::Fault fault;
        reader.choice("kind", fault.kind, fault_words());
        reader.field("text", fault.text);
        reader.field("at_s", fault.at_s);
        reader.field("mend", fault.mend);
        result.fault = std::move(fault);
    }
    const std::string loads_key = archive.find_optional("inputs") != nullptr ? "inputs" : "loads";
    if (const Json* node = archive.find(loads_key)) {
        const Place loads_place{&archive.place(), &loads_key, 0};
        const JsonReader check(*node, loads_place, trouble);
        for (auto entry = node->begin(); !trouble.first && entry != node->end(); ++entry) {
            const std::string& name = entry.key();
            const Place place{&loads_place, &name, 0};
            JsonReader reader(*entry, place, trouble);
            result.loads.emplace_back(name, Numbers{});
            read_numbers(reader, result.loads.back().second);
        }
    }
    read_numbers(archive, result.whole);
    // The writer tells a fault once more as the first warning, for readers that only look at warnings.
    if (result.fault && !trouble.first) {
        std::vector<Warning>& warnings = result.whole.warnings;
        if (warnings.empty() || warnings.front().code != untrusted_code) {
            trouble.note(archive.place(), "its fault is not among its warnings");
        } else {
            warnings.erase(warnings.begin());
        }
        if (has_numbers(result)) {
            trouble.note(archive.place(), "has numbers although its capture cannot be trusted");
        }
    }
    const std::string conditions_key = "conditions";
    if (const Json* node = archive.find(conditions_key)) {
        const Place conditions_place{&archive.place(), &conditions_key, 0};
        const JsonReader check(*node, conditions_place, trouble);
        for (auto entry = node->begin(); !trouble.first && entry != node->end(); ++entry) {
            const std::string& name = entry.key();
            const Place place{&conditions_place, &name, 0};
            if (entry->is_string()) {
                result.conditions.emplace_back(name, entry->get<std::string>());
            } else {
                double number = 0.0;
                JsonReader::read(*entry, number, place, trouble);
                result.conditions.emplace_back(name, number);
            }
        }
    }
}

}  // namespace assay::cli
