// One description of a struct serves both ways: `describe(archive, object)` names each field once, and the
// writer and the reader below walk it. Internal to the session file; the JSON library stays out of other
// headers.
//
// Every field that is not std::optional must be there when read; keys that nobody asks for are passed over.
// Nothing here throws: what is wrong is noted in `Trouble`, the first place wins, and the caller looks at it.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace assay::cli {

using Json = nlohmann::ordered_json;

/// Where in the document we are; turned into words only when something is wrong there.
struct Place {
    const Place* parent = nullptr;
    const std::string* key = nullptr;
    std::size_t index = 0;

    std::string in_words() const;  // "tests.power-4-ohm.takes[0].tone"
};

struct Trouble {
    std::optional<std::string> first{};

    void note(const Place& place, const std::string& what) {
        if (!first) first = place.in_words() + ": " + what;
    }
};

/// The words that stand for the values of an enum, in the file.
template <class Enum>
using EnumWords = std::vector<std::pair<Enum, std::string>>;

class JsonWriter {
  public:
    static constexpr bool writing = true;

    JsonWriter(Json& node, const Place& place, Trouble& trouble)
        : node_(&node), place_(&place), trouble_(&trouble) {
        *node_ = Json::object();
    }

    template <class T>
    void field(const std::string& key, const T& value) {
        const Place here{place_, &key, 0};
        if (node_->contains(key)) trouble_->note(here, "stands twice");
        write((*node_)[key], value, here, *trouble_);
    }
    template <class T>
    void field(const std::string& key, const std::optional<T>& value) {
        if (value) field(key, *value);
    }
    /// An object under a key, which `fill` is handed a writer for.
    template <class Fill>
    void object(const std::string& key, const Fill& fill) {
        const Place here{place_, &key, 0};
        if (node_->contains(key)) trouble_->note(here, "stands twice");
        JsonWriter writer((*node_)[key], here, *trouble_);
        fill(writer);
    }
    /// A list of objects, one for each item, which `fill` is handed with a writer.
    template <class Items, class Fill>
    void list(const std::string& key, const Items& items, const Fill& fill) {
        const Place list_place{place_, &key, 0};
        Json& nodes = (*node_)[key] = Json::array();
        std::size_t index = 0;
        for (const auto& item : items) {
            const Place here{&list_place, nullptr, index++};
            nodes.push_back(nullptr);
            JsonWriter writer(nodes.back(), here, *trouble_);
            fill(writer, item);
        }
    }
    /// Left out where empty.
    void optional_text(const std::string& key, const std::string& value) {
        if (!value.empty()) field(key, value);
    }
    void optional_list(const std::string& key, const std::vector<std::string>& values) {
        if (!values.empty()) field(key, values);
    }
    template <class Enum>
    void choice(const std::string& key, const Enum& value, const EnumWords<Enum>& words) {
        for (const auto& [candidate, word] : words) {
            if (candidate == value) field(key, word);
        }
    }
    /// Left out where the value is none of the words.
    template <class Enum>
    void optional_choice(const std::string& key, const Enum& value, const EnumWords<Enum>& words) {
        choice(key, value, words);
    }
    /// A number that may be infinite, which JSON cannot say: written as the text "inf".
    void number_or_inf(const std::string& key, const double& value) {
        if (std::isinf(value) && value > 0.0) {
            field(key, std::string("inf"));
        } else {
            field(key, value);
        }
    }

    static void write(Json& node, double value, const Place& place, Trouble& trouble) {
        if (!std::isfinite(value)) trouble.note(place, "is not a finite number");
        node = value;
    }
    static void write(Json& node, bool value, const Place&, Trouble&) { node = value; }
    static void write(Json& node, int value, const Place&, Trouble&) { node = value; }
    static void write(Json& node, std::int64_t value, const Place&, Trouble&) { node = value; }
    static void write(Json& node, std::uint64_t value, const Place&, Trouble&) { node = value; }
    static void write(Json& node, const std::string& value, const Place&, Trouble&) { node = value; }
    template <class T>
    static void write(Json& node, const std::vector<T>& values, const Place& place, Trouble& trouble) {
        node = Json::array();
        for (std::size_t i = 0; i < values.size(); ++i) {
            const Place here{&place, nullptr, i};
            node.push_back(nullptr);
            write(node.back(), values[i], here, trouble);
        }
    }
    template <class T>
    static void write(Json& node, const T& object, const Place& place, Trouble& trouble) {
        JsonWriter archive(node, place, trouble);
        describe(archive, object);
    }

    Json& node() { return *node_; }
    const Place& place() const { return *place_; }
    Trouble& trouble() { return *trouble_; }

  private:
    Json* node_;
    const Place* place_;
    Trouble* trouble_;
};

class JsonReader {
  public:
    static constexpr bool writing = false;

    JsonReader(const Json& node, const Place& place, Trouble& trouble)
        : node_(&node), place_(&place), trouble_(&trouble) {
        if (!node.is_object()) trouble.note(place, "should be an object");
    }

    /// The value of a key, null if the key is not there (which is noted).
    const Json* find(const std::string& key) {
        const Json* found = find_optional(key);
        if (found == nullptr) trouble_->note(Place{place_, &key, 0}, "is missing");
        return found;
    }
    const Json* find_optional(const std::string& key) const {
        if (!node_->is_object()) return nullptr;
        const auto entry = node_->find(key);
        return entry == node_->end() ? nullptr : &*entry;
    }

    template <class T>
    void field(const std::string& key, T& value) {
        if (const Json* node = find(key)) read(*node, value, Place{place_, &key, 0}, *trouble_);
    }
    template <class T>
    void field(const std::string& key, std::optional<T>& value) {
        if (const Json* node = find_optional(key)) {
            value.emplace();
            read(*node, *value, Place{place_, &key, 0}, *trouble_);
        }
    }
    void optional_text(const std::string& key, std::string& value) {
        if (find_optional(key) != nullptr) field(key, value);
    }
    void optional_list(const std::string& key, std::vector<std::string>& values) {
        if (find_optional(key) != nullptr) field(key, values);
    }
    template <class Enum>
    void choice(const std::string& key, Enum& value, const EnumWords<Enum>& words) {
        std::string text;
        field(key, text);
        for (const auto& [candidate, word] : words) {
            if (word == text) {
                value = candidate;
                return;
            }
        }
        trouble_->note(Place{place_, &key, 0}, "is none of the words known here");
    }
    template <class Enum>
    void optional_choice(const std::string& key, Enum& value, const EnumWords<Enum>& words) {
        if (find_optional(key) != nullptr) choice(key, value, words);
    }
    void number_or_inf(const std::string& key, double& value) {
        const Json* node = find_optional(key);
        if (node != nullptr && node->is_string() && *node == "inf") {
            value = std::numeric_limits<double>::infinity();
        } else {
            field(key, value);
        }
    }

    static void read(const Json& node, double& value, const Place& place, Trouble& trouble) {
        if (!node.is_number()) return trouble.note(place, "should be a number");
        value = node.get<double>();
        if (!std::isfinite(value)) trouble.note(place, "is not a finite number");
    }
    static void read(const Json& node, bool& value, const Place& place, Trouble& trouble) {
        if (!node.is_boolean()) return trouble.note(place, "should be true or false");
        value = node.get<bool>();
    }
    static void read(const Json& node, std::uint64_t& value, const Place& place, Trouble& trouble) {
        if (!node.is_number_unsigned()) return trouble.note(place, "should be a whole number from 0");
        value = node.get<std::uint64_t>();
    }
    static void read(const Json& node, std::int64_t& value, const Place& place, Trouble& trouble) {
        constexpr auto most = static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max());
        if (!node.is_number_integer() || (node.is_number_unsigned() && node.get<std::uint64_t>() > most)) {
            return trouble.note(place, "should be a whole number");
        }
        value = node.get<std::int64_t>();
    }
    static void read(const Json& node, int& value, const Place& place, Trouble& trouble) {
        std::int64_t wide = 0;
        read(node, wide, place, trouble);
        if (wide > std::numeric_limits<int>::max() || wide < std::numeric_limits<int>::min()) {
            return trouble.note(place, "is too large");
        }
        value = static_cast<int>(wide);
    }
    static void read(const Json& node, std::string& value, const Place& place, Trouble& trouble) {
        if (!node.is_string()) return trouble.note(place, "should be a text");
        value = node.get_ref<const std::string&>();
    }
    template <class T>
    static void read(const Json& node, std::vector<T>& values, const Place& place, Trouble& trouble) {
        if (!node.is_array()) return trouble.note(place, "should be a list");
        values.clear();
        values.reserve(node.size());
        for (std::size_t i = 0; i < node.size() && !trouble.first; ++i) {
            T value{};
            read(node[i], value, Place{&place, nullptr, i}, trouble);
            values.push_back(std::move(value));
        }
    }
    template <class T>
    static void read(const Json& node, T& object, const Place& place, Trouble& trouble) {
        JsonReader archive(node, place, trouble);
        if (!trouble.first) describe(archive, object);
    }

    const Json& node() const { return *node_; }
    const Place& place() const { return *place_; }
    Trouble& trouble() { return *trouble_; }

  private:
    const Json* node_;
    const Place* place_;
    Trouble* trouble_;
};

/// The document as text: objects indented, lists of plain values on one line each, so that a person can read
/// it and a curve stays short. Bytes that are not UTF-8 become U+FFFD.
std::string json_text(const Json& document);

/// A document that `fill` is handed a writer for. What is wrong with it is passed over: for what is finite
/// and has no name twice.
template <class Fill>
Json json_of(const Fill& fill) {
    Json root;
    Trouble trouble;
    const Place top{};
    JsonWriter archive(root, top, trouble);
    fill(archive);
    return root;
}

/// The text of a file that holds one record, which `describe` names.
template <class Record>
std::string record_text(const Record& record) {
    return json_text(json_of([&](JsonWriter& archive) { describe(archive, record); }));
}

/// Reads such a text; gives what is wrong with it, or nothing.
template <class Record>
std::optional<std::string> read_record(const std::string& text, Record& record) {
    const Json root = Json::parse(text, nullptr, false);
    if (root.is_discarded()) return "is not JSON";
    Trouble trouble;
    const Place top{};
    JsonReader archive(root, top, trouble);
    if (!trouble.first) describe(archive, record);
    return trouble.first;
}

}  // namespace assay::cli
