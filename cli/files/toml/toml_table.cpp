#include "cli/files/toml/toml_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/files/toml/nearest.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {

constexpr std::size_t longest_text = 10'000;  // characters
constexpr std::size_t longest_list = 1'000;
constexpr int most_unknown = 100;  // keys of one table; each costs a search for what was meant

bool control_character(char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == 0x7F;
}

}  // namespace

std::string type_in_words(const TomlNode& value) {
    switch (value.type) {
        case TomlNode::Type::text:
            return "a text";
        case TomlNode::Type::number:
            return "a number";
        case TomlNode::Type::boolean:
            return "true or false";
        case TomlNode::Type::date:
            return "a date";
        case TomlNode::Type::array:
            return "a list";
        case TomlNode::Type::table:
            return "a table";
    }
    return "something else";
}

TomlTable::TomlTable(const TomlNode& node, std::string where, Complaints& complaints)
    : node_(&node), where_(std::move(where)), complaints_(&complaints) {}

int TomlTable::line(std::string_view key) const {
    for (std::size_t i = 0; i < node_->entries.size(); ++i) {
        if (node_->entries[i].first == key) return node_->key_lines[i];
    }
    return node_->line;
}

std::vector<std::pair<std::string, int>> TomlTable::lines() const {
    std::vector<std::pair<std::string, int>> all{{"", node_->line}};
    for (std::size_t i = 0; i < node_->entries.size(); ++i) {
        all.emplace_back(node_->entries[i].first, node_->key_lines[i]);
    }
    return all;
}

void TomlTable::complain(std::string_view key, const std::string& what, std::string mend) {
    // The key is always named, whether or not the sentence does so by itself.
    const bool named = key.empty() || what.find(key) != std::string::npos;
    complaints_->add(line(key), where_ + ": " + (named ? what : std::string(key) + ": " + what),
                     std::move(mend));
}

void TomlTable::wrong_type(const std::string& key, const TomlNode& value, std::string mend) {
    complain(key, key + " is " + type_in_words(value), std::move(mend));
}

const TomlNode* TomlTable::get(const std::string& key) {
    if (std::find(known_.begin(), known_.end(), key) == known_.end()) known_.push_back(key);
    return node_->find(key);
}

std::optional<double> TomlTable::number(const std::string& key, const Range& range) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    if (value->type != TomlNode::Type::number) {
        wrong_type(key, *value, "give " + range.in_words() + ", without quotes");
        return std::nullopt;
    }
    if (!range.holds(value->number)) {
        complain(key, fmt::format("{} = {} is out of range", key, value->number), "give " + range.in_words());
        return std::nullopt;
    }
    return value->number;
}

std::optional<bool> TomlTable::flag(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    if (value->type != TomlNode::Type::boolean) {
        wrong_type(key, *value, "give true or false, without quotes");
        return std::nullopt;
    }
    return value->boolean;
}

std::optional<std::string> TomlTable::text(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    if (value->type != TomlNode::Type::text) {
        wrong_type(key, *value, "give a text in double quotes");
        return std::nullopt;
    }
    const std::size_t length = character_count(value->text);
    if (length > longest_text) {
        complain(key, fmt::format("{} has {} characters", key, length), "10000 characters are the most");
        return std::nullopt;
    }
    return value->text;
}

std::optional<std::string> TomlTable::name(const std::string& key) {
    std::optional<std::string> value = text(key);
    if (!value) return std::nullopt;
    if (value->empty()) {
        complain(key, key + " is empty", "give a text of at least one character");
        return std::nullopt;
    }
    if (std::any_of(value->begin(), value->end(), control_character)) {
        complain(key, key + " holds a line break or another control character", "give a text of one line");
        return std::nullopt;
    }
    return value;
}

std::optional<std::string> TomlTable::date(const std::string& key) {
    const TomlNode* value = node_->find(key);
    if (value == nullptr || value->type != TomlNode::Type::date) return text(key);
    get(key);
    return value->text;
}

std::optional<std::size_t> TomlTable::choice(const std::string& key, const std::vector<std::string>& words) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    if (value->type != TomlNode::Type::text) {
        wrong_type(key, *value, suggestion("", words));
        return std::nullopt;
    }
    const auto found = std::find(words.begin(), words.end(), value->text);
    if (found == words.end()) {
        complain(key, "unknown " + key + " " + in_quotes(value->text), suggestion(value->text, words));
        return std::nullopt;
    }
    return static_cast<std::size_t>(found - words.begin());
}

std::optional<std::vector<double>> TomlTable::numbers(const std::string& key, const Range& range) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    const std::string mend = "give a list such as [1, 10]; each " + range.in_words();
    if (value->type != TomlNode::Type::array) {
        wrong_type(key, *value, mend);
        return std::nullopt;
    }
    if (value->items.empty() || value->items.size() > longest_list) {
        complain(key, fmt::format("{} is a list of {} numbers", key, value->items.size()), mend);
        return std::nullopt;
    }
    std::vector<double> all;
    for (const TomlNode& item : value->items) {
        if (item.type != TomlNode::Type::number) {
            complaints_->add(item.line, where_ + ": " + key + " holds " + type_in_words(item), mend);
            return std::nullopt;
        }
        const bool twice = std::find(all.begin(), all.end(), item.number) != all.end();
        if (twice || !range.holds(item.number)) {
            complaints_->add(item.line,
                             fmt::format("{}: {} holds {}, which is {}", where_, key, item.number,
                                         twice ? "there twice" : "out of range"),
                             twice ? "give each number once" : mend);
            return std::nullopt;
        }
        all.push_back(item.number);
    }
    return all;
}

std::optional<std::array<double, 2>> TomlTable::pair(const std::string& key, const Range& range) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    const auto fits = [&](const TomlNode& item) {
        return item.type == TomlNode::Type::number && range.holds(item.number);
    };
    const bool two = value->type == TomlNode::Type::array && value->items.size() == 2;
    if (!two || !fits(value->items[0]) || !fits(value->items[1])) {
        complain(key, key + " is no pair of numbers within range",
                 "give two in square brackets, each " + range.in_words());
        return std::nullopt;
    }
    return std::array{value->items[0].number, value->items[1].number};
}

const TomlNode* TomlTable::subtable(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr || value->type == TomlNode::Type::table) return value;
    wrong_type(key, *value, "it must be a table");
    return nullptr;
}

const TomlNode* TomlTable::list(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr || value->type == TomlNode::Type::array) return value;
    wrong_type(key, *value, "it must be a list");
    return nullptr;
}

std::optional<std::vector<std::string>> TomlTable::name_or_names(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr || value->type != TomlNode::Type::text) return names(key);
    const auto one = name(key);
    if (!one) return std::nullopt;
    return std::vector<std::string>{*one};
}

std::optional<std::vector<std::string>> TomlTable::names(const std::string& key) {
    const TomlNode* value = get(key);
    if (value == nullptr) return std::nullopt;
    if (value->type != TomlNode::Type::array) {
        wrong_type(key, *value, "give a list of names such as [\"name\"]");
        return std::nullopt;
    }
    if (value->items.size() > longest_list) {
        complain(key, fmt::format("{} is a list of {} names", key, value->items.size()), "name fewer");
        return std::nullopt;
    }
    std::vector<std::string> all;
    for (const TomlNode& item : value->items) {
        if (item.type != TomlNode::Type::text) {
            complaints_->add(item.line, where_ + ": " + key + " holds " + type_in_words(item),
                             "give a list of names such as [\"name\"]");
            return std::nullopt;
        }
        if (std::find(all.begin(), all.end(), item.text) != all.end()) {
            complaints_->add(item.line, where_ + ": " + key + " holds " + in_quotes(item.text) + " twice",
                             "give each name once");
            return std::nullopt;
        }
        all.push_back(item.text);
    }
    return all;
}

void TomlTable::require(const std::string& key, std::string mend) {
    require_one({key}, key + " is missing", std::move(mend));
}

void TomlTable::require_one(const std::vector<std::string>& keys, std::string what, std::string mend) {
    const bool given =
        std::any_of(keys.begin(), keys.end(), [&](const std::string& key) { return has(key); });
    if (!given) missing_.push_back({keys, std::move(what), std::move(mend)});
}

void TomlTable::exclusive(const std::vector<std::string>& keys) {
    std::string first;
    for (const std::string& key : keys) {
        if (!has(key)) continue;
        if (first.empty()) {
            first = key;
        } else {
            complain(key, fmt::format("{} stands beside {}", key, first), "give one of the two");
            return;
        }
    }
}

void TomlTable::finish() {
    std::vector<std::string> meant;
    int unknown = 0;
    for (const auto& [key, value] : node_->entries) {
        if (std::find(known_.begin(), known_.end(), key) != known_.end()) continue;
        complain(key, "unknown key " + in_quotes(key), suggestion(key, known_));
        if (++unknown == most_unknown) break;
        if (const auto near = nearest(key, known_)) meant.push_back(*near);
    }
    for (const Missing& missing : missing_) {
        const bool mistyped =
            std::any_of(missing.keys.begin(), missing.keys.end(), [&](const std::string& key) {
                return std::find(meant.begin(), meant.end(), key) != meant.end();
            });
        if (!mistyped) complaints_->add(node_->line, where_ + ": " + missing.what, missing.mend);
    }
}

}  // namespace assay::cli
