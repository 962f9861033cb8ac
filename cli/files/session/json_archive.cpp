#include "cli/files/session/json_archive.h"

#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

bool is_plain(const Json& node) {
    return !node.is_structured();
}

std::string one_line(const Json& node) {
    return node.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void append(std::string& text, const Json& node, std::size_t depth) {
    if (is_plain(node) || node.empty()) {
        text += one_line(node);
        return;
    }
    if (node.is_array()) {
        bool all_plain = true;
        for (const Json& item : node) all_plain = all_plain && is_plain(item);
        if (all_plain) {
            text += one_line(node);
            return;
        }
    }
    const std::string indent(2 * (depth + 1), ' ');
    text += node.is_array() ? "[\n" : "{\n";
    bool first = true;
    for (auto entry = node.begin(); entry != node.end(); ++entry) {
        if (!first) text += ",\n";
        first = false;
        text += indent;
        if (node.is_object()) text += one_line(Json(entry.key())) + ": ";
        append(text, *entry, depth + 1);
    }
    text += '\n' + std::string(2 * depth, ' ') + (node.is_array() ? ']' : '}');
}

}  // namespace

std::string Place::in_words() const {
    std::string words = parent != nullptr ? parent->in_words() : std::string{};
    if (key != nullptr) {
        if (!words.empty()) words += '.';
        words += visible_text(*key, 60);
    } else if (parent != nullptr) {
        words += '[' + std::to_string(index) + ']';
    }
    return words;
}

std::string json_text(const Json& document) {
    std::string text;
    append(text, document, 0);
    return text + '\n';
}

}  // namespace assay::cli
