// SPDX-License-Identifier: MIT
#include "host/record/json_lines.hpp"
#include <algorithm>
#include <nlohmann/json.hpp>
#include <unordered_set>
#include <utility>

namespace yokedock::record {
namespace {

/// An object or array that is open at the place of reading.
struct Open {
    std::string path;
    bool array;
    std::size_t elements = 0;
    std::unordered_set<std::string> keys;
    std::string key = {}; ///< path of the member whose value is awaited
    bool has_key = false;
};

class Finder {
  public:
    explicit Finder(std::string_view text) : text_(text) {}

    JsonLines find() {
        while (at_ < text_.size()) {
            take(text_[at_]);
        }
        return std::move(found_);
    }

  private:
    void take(char c) {
        switch (c) {
        case '\n':
            ++line_;
            ++at_;
            break;
        case '{':
        case '[':
            open_.push_back({begin_value(), c == '[', 0, {}});
            ++at_;
            break;
        case '}':
        case ']':
            if (!open_.empty()) {
                open_.pop_back();
            }
            ++at_;
            break;
        case '"':
            take_text();
            break;
        case ' ':
        case '\t':
        case '\r':
        case ',':
        case ':':
            ++at_;
            break;
        default:
            (void)begin_value();
            while (at_ < text_.size() &&
                   std::string_view("{}[],:\" \t\r\n").find(text_[at_]) == std::string_view::npos) {
                ++at_;
            }
        }
    }

    void take_text() {
        const std::size_t begin = at_++;
        while (at_ < text_.size() && text_[at_] != '"') {
            at_ += text_[at_] == '\\' ? 2u : 1u;
        }
        at_ = std::min(at_ + 1, text_.size());
        if (!open_.empty() && !open_.back().array && !open_.back().has_key) {
            take_key(text_.substr(begin, at_ - begin));
        } else {
            (void)begin_value();
        }
    }

    void take_key(std::string_view quoted) {
        const auto key = nlohmann::json::parse(quoted, nullptr, false); // undoes the escapes
        Open& object = open_.back();
        const std::string name = key.is_string() ? key.get<std::string>() : std::string(quoted);
        object.key = object.path.empty() ? name : object.path + '.' + name;
        if (!object.keys.insert(name).second) {
            found_.repeated.push_back({object.key, line_});
        }
        found_.line_of[object.key] = line_;
        object.has_key = true;
    }

    /// A value begins here: its path, remembered with its line.
    std::string begin_value() {
        std::string path;
        if (!open_.empty()) {
            Open& outer = open_.back();
            path = outer.array ? outer.path + '[' + std::to_string(outer.elements++) + ']'
                               : std::exchange(outer.key, {});
            outer.has_key = false;
        }
        found_.line_of.try_emplace(path, line_);
        return path;
    }

    std::string_view text_;
    std::size_t at_ = 0;
    int line_ = 1;
    std::vector<Open> open_;
    JsonLines found_;
};

} // namespace

int JsonLines::line(const std::string& path) const {
    for (std::string at = path;;) {
        if (const auto found = line_of.find(at); found != line_of.end()) {
            return found->second;
        }
        if (at.empty()) {
            return 1;
        }
        const auto cut = at.find_last_of(".[");
        at.resize(cut == std::string::npos ? 0 : cut);
    }
}

JsonLines find_json_lines(std::string_view text) {
    return Finder(text).find();
}

} // namespace yokedock::record
