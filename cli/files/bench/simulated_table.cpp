#include "cli/files/bench/simulated_table.h"

#include <map>
#include <string>
#include <variant>

#include "capture/simulated/settings_keys.h"

namespace assay::cli {

namespace {

constexpr double largest_seed = 9007199254740992.0;  // 2^53: whole numbers up to here are exact

struct Reader {
    TomlTable* table;
    std::string key;
    Range range;

    void operator()(double* member) const {
        if (const auto value = table->number(key, range)) *member = *value;
    }
    void operator()(int* member) const {
        Range whole = range;
        whole.whole = true;
        if (const auto value = table->number(key, whole)) *member = static_cast<int>(*value);
    }
    void operator()(bool* member) const {
        if (const auto value = table->flag(key)) *member = *value;
    }
    void operator()(std::array<double, 2>* member) const {
        if (const auto value = table->pair(key, range)) *member = *value;
    }
    void operator()(std::uint64_t* member) const {
        const auto value = table->number(key, whole_from_to(0, largest_seed));
        if (value) *member = static_cast<std::uint64_t>(*value);
    }
};

}  // namespace

void read_simulated(const TomlNode& node, capture::SimulatedBench& bench, Complaints& complaints) {
    TomlTable whole(node, "[simulated]", complaints);
    std::map<std::string, TomlTable> parts;
    for (const capture::SettingKey& setting : capture::setting_keys(bench)) {
        TomlTable* table = &whole;
        if (const std::size_t dot = setting.table.find('.'); dot != std::string_view::npos) {
            const std::string part(setting.table.substr(dot + 1));
            if (!parts.contains(part)) {
                const TomlNode* below = whole.subtable(part);
                if (below == nullptr) continue;
                parts.emplace(part, TomlTable(*below, "[simulated." + part + "]", complaints));
            }
            table = &parts.at(part);
        }
        const Range range = from_to(setting.minimum, setting.maximum, std::string(setting.unit));
        std::visit(Reader{table, std::string(setting.key), range}, setting.value);
    }
    whole.finish();
    for (auto& [name, table] : parts) table.finish();
}

}  // namespace assay::cli
