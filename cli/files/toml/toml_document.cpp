#include "cli/files/toml/toml_document.h"

#include <algorithm>

#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_table.h"

namespace assay::cli {

namespace {
constexpr std::size_t most_tables = 1'000;  // of one kind; they are searched for one another's names
}

std::string table_label(const std::string& kind, const TomlNode& table, std::string_view key,
                        std::size_t index) {
    const TomlNode* name = table.find(key);
    const bool named = name != nullptr && name->type == TomlNode::Type::text && !name->text.empty();
    return kind + " " + (named ? in_quotes(name->text) : std::to_string(index + 1));
}

const TomlNode* TomlDocument::one(const std::string& name) {
    known_.push_back(name);
    const TomlNode* node = root_->find(name);
    if (node == nullptr || node->type == TomlNode::Type::table) return node;
    complaints_->add(node->line, "[" + name + "] is " + type_in_words(*node),
                     "write [" + name + "] once, with its keys below it");
    return nullptr;
}

std::vector<const TomlNode*> TomlDocument::list(const std::string& name) {
    known_.push_back(name);
    const TomlNode* node = root_->find(name);
    if (node == nullptr) return {};
    const std::string mend = "write [[" + name + "]] above the keys of each one";
    if (node->type != TomlNode::Type::array) {
        complaints_->add(node->line, "[" + name + "] is " + type_in_words(*node) + ", not a list of tables",
                         mend);
        return {};
    }
    if (node->items.size() > most_tables) {
        complaints_->add(node->items[most_tables].line,
                         "more than " + std::to_string(most_tables) + " [[" + name + "]]",
                         "share them out over several files");
        return {};
    }
    std::vector<const TomlNode*> tables;
    for (const TomlNode& item : node->items) {
        if (item.type == TomlNode::Type::table) {
            tables.push_back(&item);
        } else {
            complaints_->add(item.line, name + " holds " + type_in_words(item), mend);
        }
    }
    return tables;
}

void TomlDocument::require(const std::string& name, std::string what, std::string mend) {
    const TomlNode* node = root_->find(name);
    const bool empty = node != nullptr && node->type == TomlNode::Type::array && node->items.empty();
    if (node == nullptr || empty) required_.push_back({std::move(what), std::move(mend)});
}

void TomlDocument::finish() {
    for (std::size_t i = 0; i < root_->entries.size(); ++i) {
        const auto& [key, value] = root_->entries[i];
        if (std::find(known_.begin(), known_.end(), key) != known_.end()) continue;
        const bool tables = value.type == TomlNode::Type::array && !value.items.empty() &&
                            value.items.front().type == TomlNode::Type::table;
        const std::string what =
            tables || value.type == TomlNode::Type::table ? "unknown table " : "unknown key ";
        complaints_->add(root_->key_lines[i], what + in_quotes(key), suggestion(key, known_));
    }
    // What is missing has no line of its own; it is told only when nothing that has one is wrong.
    if (!complaints_->empty()) return;
    for (const Required& missing : required_) complaints_->add(1, missing.what, missing.mend);
}

}  // namespace assay::cli
