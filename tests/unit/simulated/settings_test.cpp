#include <gtest/gtest.h>

#include <set>
#include <type_traits>

#include "capture/simulated/settings_keys.h"

namespace assay::capture {
namespace {

std::size_t bytes_of(const SettingKey& key) {
    return std::visit([](auto* value) { return sizeof *value; }, key.value);
}

TEST(Settings, EveryMemberHasAKeyOfItsOwn) {
    SimulatedBench bench;
    std::set<std::pair<std::string_view, std::string_view>> names;
    std::set<const void*> places;
    std::size_t bytes = 0;
    for (const SettingKey& key : setting_keys(bench)) {
        EXPECT_TRUE(names.insert({key.table, key.key}).second) << key.key;
        EXPECT_TRUE(std::visit([&](auto* value) { return places.insert(value).second; }, key.value))
            << key.key;
        bytes += bytes_of(key);
    }
    // All members together fill the struct but for what follows the amplifier's truth value, the card's int
    // and the jig's three truth values.
    const std::size_t padding = (8 - sizeof(bool)) + (8 - sizeof(int)) + (8 - 3 * sizeof(bool));
    EXPECT_EQ(bytes + padding, sizeof(SimulatedBench));
}

TEST(Settings, DefaultsLieWithinTheirRanges) {
    SimulatedBench bench;
    const auto inside = [](const SettingKey& key, double value) {
        return key.minimum <= value && value <= key.maximum;
    };
    for (const SettingKey& key : setting_keys(bench)) {
        if (auto* const* number = std::get_if<double*>(&key.value)) {
            EXPECT_TRUE(inside(key, **number)) << key.key;
        }
        if (auto* const* whole = std::get_if<int*>(&key.value)) {
            EXPECT_TRUE(inside(key, **whole)) << key.key;
        }
        if (auto* const* pair = std::get_if<std::array<double, 2>*>(&key.value)) {
            for (const double value : **pair) EXPECT_TRUE(inside(key, value)) << key.key;
        }
    }
}

}  // namespace
}  // namespace assay::capture
